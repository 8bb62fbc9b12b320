"""Zero-sum stochastic games: each state a matrix whose cells end play or lead to a next state.

Two forms. A *recursive* game (Everett) ends with my win or my loss, and may go on for ever; a *discounted* game
(Shapley) pays in every exchange, and ends or is discounted with some chance in each. Both are answered by a
bracket that is certified from both sides; the bracket of a recursive game holds however endless play is scored,
since its lower end counts it as my loss and its upper end as my win. Where play must end, both ends meet.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from msgspec import Struct
from numpy.typing import ArrayLike

from advisor.errors import DataError, Finding
from advisor.solver.guarantee import Bools, Floats
from advisor.solver.layer import Budget, Closing, Layer, close

__all__ = ["Bracket", "Budget", "DiscountedGame", "RecursiveGame", "solve_discounted", "solve_recursive"]

SUM = 1e-9
"""How far the chances of a cell may be from 1 before they are refused."""


class RecursiveGame(Struct, frozen=True, kw_only=True):
    """Play until one side wins.

    Shape: for each of s states ``wins`` [m, n] chance that this cell ends with my win, and ``moves`` [m, n, s]
    chance that play goes on in each state; the rest of 1 ends with my loss. m and n may differ from state to state.
    """

    wins: Sequence[ArrayLike]
    moves: Sequence[ArrayLike]


class DiscountedGame(Struct, frozen=True, kw_only=True):
    """Play for rewards, each exchange going on with a chance (or discount) below 1.

    Shape: for each of s states ``rewards`` [m, n] paid to me in this cell, and ``moves`` [m, n, s] chance times
    discount of going on in each state, every cell's sum below 1.
    """

    rewards: Sequence[ArrayLike]
    moves: Sequence[ArrayLike]


class Bracket(Struct, frozen=True, kw_only=True):
    """Certified bounds on the value in every state, and the mixes that hold them.

    ``lower[s] <= value <= upper[s]``; ``closed`` says whether they are within the tolerance everywhere, else
    ``stopped`` says what ran out (iterations, no gain, time, cancelled). ``mine[s]`` is the best stationary mix found;
    where the ends of the bracket come from several mixes, one alone may hold a little less.
    """

    lower: Floats
    upper: Floats
    mine: tuple[Floats, ...]
    theirs: tuple[Floats, ...]
    closed: bool
    iterations: int
    stopped: str


def solve_recursive(game: RecursiveGame, *, tolerance: float = 1e-6, budget: Budget | None = None) -> Bracket:
    """Bracket my chance to win from every state.

    Never stops on a small step: only when ``upper - lower <= tolerance`` in every state, or when the budget is out,
    and then the bracket comes back as wide as it is with ``closed`` false.

    Errors: ``DataError`` for shapes that do not fit, negative chances, or chances that sum to more than 1.
    Source: Everett 1957 for the game; lower bounds by stationary mixes and the other side's best reply.
    """
    wins, moves, rows, columns = _packed(game.wins, game.moves)
    spent = wins + moves.sum(axis=3)
    _refuse("chances", "negative", np.minimum(wins, moves.min(axis=3)) < 0, spent, "chances of 0 to 1")
    _refuse("chances", "more than 1 in all", spent > 1 + SUM, spent, "wins and moves of a cell sum to at most 1")
    # what is left by rounding alone is no chance to lose; counting it as none keeps the upper bound honest
    losses = np.where(1 - spent < SUM, 0.0, 1 - spent) * (rows[:, :, None] & columns[:, None, :])
    layer = Layer(gains=wins[None], costs=losses[None], moves=moves, rows=rows, columns=columns)
    return _bracket(layer, close(layer, wanted=tolerance, budget=budget))


def solve_discounted(game: DiscountedGame, *, tolerance: float = 1e-9, budget: Budget | None = None) -> Bracket:
    """Bracket the expected sum of rewards from every state.

    The operator contracts by the largest sum of a cell's moves, so the value is one and both ends meet; the same
    certificates as for recursive games bound it.

    Errors: ``DataError`` for shapes that do not fit, negative moves, or moves of a cell that sum to 1 or more.
    Source: Shapley 1953, stochastic games.
    """
    rewards, moves, rows, columns = _packed(game.rewards, game.moves)
    spent = moves.sum(axis=3)
    _refuse("moves", "negative", moves.min(axis=3) < 0, spent, "chances of 0 to 1")
    _refuse("moves", "1 or more in all", spent >= 1, spent, "moves of a cell sum to less than 1")
    layer = Layer(
        gains=rewards[None], costs=-rewards[None], moves=moves, rows=rows, columns=columns, whole=0.0, signed=True
    )
    most = float(np.abs(rewards).max() / (1 - spent.max())) * (1 + 1e-12)
    return _bracket(layer, close(layer, ends=(-most, most), wanted=tolerance, budget=budget))


def _bracket(layer: Layer, found: Closing) -> Bracket:
    return Bracket(
        lower=found.lower[0], upper=found.upper[0],
        mine=tuple(mix[live] for mix, live in zip(found.mine[0], layer.rows, strict=True)),
        theirs=tuple(mix[live] for mix, live in zip(found.theirs[0], layer.columns, strict=True)),
        closed=bool(found.closed[0]), iterations=found.iterations, stopped=found.stopped,
    )


def _packed(pays: Sequence[ArrayLike], moves: Sequence[ArrayLike]) -> tuple[Floats, Floats, Bools, Bools]:
    """The states' matrices in one array each, padded to the largest, and which rows and columns exist."""
    pay = [np.asarray(p, dtype=np.float64) for p in pays]
    go = [np.asarray(g, dtype=np.float64) for g in moves]
    states = len(pay)
    faults = [] if states else [_fault("states", "a game without states", "at least one")]
    if len(go) != states:
        faults.append(_fault("moves", f"`{len(go)}` states of moves beside `{states}` of payoffs", "one for each"))
    for at, (p, g) in enumerate(zip(pay, go, strict=False)):
        if p.ndim != 2 or not p.size:
            faults.append(_fault(f"states[{at}]", f"payoffs of shape `{p.shape}`", "rows x columns"))
        elif g.shape != (*p.shape, states):
            faults.append(_fault(f"moves[{at}]", f"shape `{g.shape}`", f"`{(*p.shape, states)}`"))
        elif not (np.isfinite(p).all() and np.isfinite(g).all()):
            faults.append(_fault(f"states[{at}]", "a number that is not finite", "finite numbers"))
    if faults:
        raise DataError(faults)
    most, widest = max(p.shape[0] for p in pay), max(p.shape[1] for p in pay)
    out = np.zeros((states, most, widest)), np.zeros((states, most, widest, states))
    rows, columns = np.zeros((states, most), dtype=bool), np.zeros((states, widest), dtype=bool)
    for at, (p, g) in enumerate(zip(pay, go, strict=True)):
        m, n = p.shape
        out[0][at, :m, :n], out[1][at, :m, :n] = p, g
        rows[at, :m], columns[at, :n] = True, True
    return out[0], out[1], rows, columns


def _refuse(what: str, wrong: str, where: Bools, sums: Floats, right: str) -> None:
    """Raise with the first few cells for which ``where`` holds."""
    cells = np.argwhere(where)
    if len(cells):
        raise DataError(
            _fault(f"states[{s}][{i}][{j}]", f"{what} are {wrong} (sum `{sums[s, i, j]:.12g}`)", right)
            for s, i, j in cells.tolist()
        )


def _fault(path: str, message: str, right: str) -> Finding:
    return Finding(code="game-malformed", message=message, help=right, path=path)
