"""Many small zero-sum games at once, each over the same few states: brackets closed from both sides.

A guess at the values gives both sides a mix in every state. Each mix is then held against the best reply to it
(``guarantee``), which bounds the value from below and from above, however bad the guess was. The guesses come by
turns from the chances under both mixes, from the middle and from the ends of the bracket.
"""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np
from msgspec import Struct

from advisor.solver.batch import solve_many
from advisor.solver.guarantee import ROUNDING, Bools, Floats, best_reply_value

__all__ = ["Budget", "Closing", "Layer", "close"]

DUST = 1e-14
"""Weights of a mix below this are rounding of the matrix solver and are dropped."""

STILL = 25
"""Iterations without any gain at all after which trying on is pointless."""


class Budget(Struct, frozen=True, kw_only=True):
    """How long to try: iterations, seconds of clock (None: no limit), and a call that says to stop."""

    iterations: int = 300
    seconds: float | None = None
    cancelled: Callable[[], bool] | None = None


class Layer(Struct, frozen=True, kw_only=True):
    """k games over the same s states and the same moves between them, cells padded to m x n.

    Shape: ``gains`` [k, s, m, n] what I get where play ends in this cell (a chance to win, or a reward);
    ``costs`` [k, s, m, n] the same for the other side (a chance to lose, or minus the reward); ``moves`` [s, m, n, s]
    chance that play goes on in that state; ``rows`` [s, m] and ``columns`` [s, n] which options exist.
    ``whole`` is what both sides' values add up to: 1 for chances, 0 for rewards (``signed``).
    """

    gains: Floats
    costs: Floats
    moves: Floats
    rows: Bools
    columns: Bools
    whole: float = 1.0
    signed: bool = False
    rounding: float = ROUNDING

    def some(self, which: Bools) -> Layer:
        """The games that ``which`` [k] picks."""
        return Layer(
            gains=self.gains[which], costs=self.costs[which], moves=self.moves, rows=self.rows,
            columns=self.columns, whole=self.whole, signed=self.signed, rounding=self.rounding,
        )

    def theirs(self) -> Layer:
        """The same games from the other side."""
        return Layer(
            gains=self.costs.swapaxes(2, 3), costs=self.gains.swapaxes(2, 3), moves=self.moves.swapaxes(1, 2),
            rows=self.columns, columns=self.rows, whole=self.whole, signed=self.signed, rounding=self.rounding,
        )

    def onward(self, values: Floats) -> Floats:
        """Expectation of ``values`` [k, s] over the moves of every cell: [k, s, m, n]."""
        states, rows, columns, _ = self.moves.shape
        flat = self.moves.reshape(states * rows * columns, states)
        return np.asarray((values @ flat.T).reshape(-1, states, rows, columns), dtype=np.float64)

    def middle(self) -> Floats:
        """What ends in each cell, half way between what I surely get and what they surely leave."""
        ends: Floats = self.whole * (1 - self.moves.sum(axis=3))
        return (self.gains + ends - self.costs) / 2


class Closing(Struct, kw_only=True):
    """Certified brackets and the mixes behind them.

    Shape: ``lower``, ``upper`` [k, s]; ``mine`` [k, s, m]; ``theirs`` [k, s, n]; ``closed`` [k].
    """

    lower: Floats
    upper: Floats
    mine: Floats
    theirs: Floats
    closed: Bools
    iterations: int = 0
    stopped: str = ""


def close(
    layer: Layer, *, start: Floats | None = None, ends: tuple[float, float] = (0.0, 1.0),
    wanted: Floats | float = 1e-9, budget: Budget | None = None,
) -> Closing:
    """Bracket the values of every game of ``layer``, trying on until ``upper - lower <= wanted`` in each.

    ``start`` [k, s] is a first guess (any will do), ``ends`` bounds known beforehand, ``wanted`` [k] or one number.
    A small step is never taken for an answer: what does not close comes back wide, with ``closed`` false and
    ``stopped`` saying why.
    """
    budget = budget or Budget()
    games, states, rows, columns = layer.gains.shape
    lower, upper = (np.full((games, states), end) for end in ends)
    out = Closing(
        lower=lower, upper=upper, mine=np.zeros((games, states, rows)), theirs=np.zeros((games, states, columns)),
        closed=np.zeros(games, dtype=bool),
    )
    limit = np.broadcast_to(np.asarray(wanted, dtype=np.float64), (games,))
    best = (np.full(games, -np.inf), np.full(games, -np.inf))
    guess = (lower + upper) / 2 if start is None else start
    began, idle = time.monotonic(), 0
    while not out.closed.all():
        out.stopped = _why_stop(budget, out.iterations, began, idle)
        if out.stopped:
            break
        going = ~out.closed
        part = layer if going.all() else layer.some(going)
        mine, theirs = _mixes(part, guess[going])
        gained = _tighten(part, mine, theirs, out, best, going)
        idle = 0 if gained else idle + 1
        guess = guess.copy()
        guess[going] = _next_guess(part, mine, theirs, out.lower[going], out.upper[going], out.iterations)
        out.closed |= (out.upper - out.lower).max(axis=1) <= limit
        out.iterations += 1
    return out


def _why_stop(budget: Budget, iterations: int, began: float, idle: int) -> str:
    if iterations >= budget.iterations:
        return "iterations"
    if idle >= STILL:
        return "no gain"
    if budget.seconds is not None and time.monotonic() - began >= budget.seconds:
        return "time"
    if budget.cancelled is not None and budget.cancelled():
        return "cancelled"
    return ""


def _mixes(layer: Layer, guess: Floats) -> tuple[Floats, Floats]:
    """Both sides' equilibrium mixes in every state, were play to go on at the values of ``guess``."""
    games, states, rows, columns = layer.gains.shape
    payoffs = layer.middle() + layer.onward(guess)
    real = layer.rows[:, :, None] & layer.columns[:, None, :]
    if not real.all():
        low, high = payoffs[:, real].min(), payoffs[:, real].max()
        reach = max(high - low, 0.1)
        # what does not exist is made worse than anything that does, so that no mix holds it
        ghost = np.where(layer.rows[:, :, None], high + reach, np.where(layer.columns[:, None, :], low - reach, low))
        payoffs = np.where(real, payoffs, ghost)
    found = solve_many(payoffs.reshape(games * states, rows, columns))
    mine = np.asarray(found.rows).reshape(games, states, rows)
    theirs = np.asarray(found.columns).reshape(games, states, columns)
    return _clean(mine, layer.rows), _clean(theirs, layer.columns)


def _clean(mix: Floats, live: Bools) -> Floats:
    kept = np.where(live & (mix > DUST), mix, 0.0)
    total = kept.sum(axis=2, keepdims=True)
    return np.where(total > 0, kept / np.where(total > 0, total, 1.0), live / live.sum(axis=1, keepdims=True))


def _tighten(
    layer: Layer, mine: Floats, theirs: Floats, out: Closing, best: tuple[Floats, Floats], going: Bools
) -> bool:
    """Raise the lower and lower the upper bounds by what the mixes guarantee; whether anything was gained."""
    before = (out.upper[going] - out.lower[going]).sum()
    lower, kept = _one_side(layer, mine, out.lower[going], best[0][going])
    best[0][going] = np.maximum(best[0][going], kept)
    fresh = kept >= best[0][going]
    out.mine[going] = np.where(fresh[:, None, None], mine, out.mine[going])
    other, kept = _one_side(layer.theirs(), theirs, layer.whole - out.upper[going], best[1][going])
    best[1][going] = np.maximum(best[1][going], kept)
    fresh = kept >= best[1][going]
    out.theirs[going] = np.where(fresh[:, None, None], theirs, out.theirs[going])
    out.lower[going] = lower
    out.upper[going] = np.minimum(out.upper[going], layer.whole - other)
    after = (out.upper[going] - out.lower[going]).sum()
    return bool(after < before)


def _one_side(layer: Layer, mix: Floats, known: Floats, best: Floats) -> tuple[Floats, Floats]:
    """The better of what was known, the mix's own guarantee and one step from what was known; and its worth."""
    own = best_reply_value(
        layer.gains, layer.moves, mix, layer.columns, signed=layer.signed, rounding=layer.rounding
    )
    cells = layer.gains + layer.onward(known)
    after = np.matmul(mix[:, :, None, :], cells)[:, :, 0, :]
    step = np.where(layer.columns, after, np.inf).min(axis=2)
    step -= layer.rounding * (1 + np.abs(known).max(axis=1, keepdims=True))
    worth = own.sum(axis=1)
    worth = np.where(np.isfinite(worth), worth, np.where(np.isfinite(best), -np.inf, -1e300))
    return np.maximum(np.maximum(known, own), step), worth


def _next_guess(
    layer: Layer, mine: Floats, theirs: Floats, lower: Floats, upper: Floats, iteration: int
) -> Floats:
    """Chances under both mixes (fast), and by turns the middle and the ends of the bracket (sure)."""
    turn = iteration % 8
    if iteration > 2 and turn in (1, 3, 5, 7):
        return (lower + upper) / 2
    if turn in (4, 6):
        return lower if turn == 4 else upper
    pay = np.matmul(np.matmul(mine[:, :, None, :], layer.middle()), theirs[..., None])[:, :, 0, 0]
    states, rows, columns, _ = layer.moves.shape
    flat = layer.moves.reshape(states, rows, columns * states)
    go = np.matmul(mine.transpose(1, 0, 2), flat).transpose(1, 0, 2).reshape(-1, states, columns, states)
    go = np.matmul(theirs[:, :, None, :], go)[:, :, 0, :]
    try:
        value: Floats = np.linalg.solve(np.eye(states) - go * (1 - 1e-13), pay[..., None])[..., 0]
    except np.linalg.LinAlgError:
        return (lower + upper) / 2
    inside: Floats = np.clip(np.nan_to_num(value), lower, upper)
    return inside
