"""Chances to win a round from every situation and every pair of healths, as certified brackets.

A state is (situation, my health, their health). Damage only ever lowers health, so the states are solved by the sum
of both healths, smallest first: all pairs with one sum are independent of each other and are solved at once, each a
small game over the situations that exchanges without damage connect (``layer``). Lower and upper bounds are carried
apart: the lower bounds of smaller sums feed the lower bounds only, so the bracket is honest in all.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from advisor.errors import QuestionError, did_you_mean
from advisor.solver.guarantee import ROUNDING, Bools, Floats
from advisor.solver.layer import Budget, Closing, Layer, close
from advisor.solver.round_model import Cells, RoundModel, check_model, comeback_steps, tabulate

__all__ = ["Cancelled", "RoundMix", "RoundSolution", "check_health", "round_mix", "situation_index", "solve_round"]

Progress = Callable[[int, int], None]
Healths = NDArray[np.intp]

PER_LAYER = 200
"""Iterations after which a layer is left with the bracket it has."""


class Cancelled(Exception):
    """Raised out of ``solve_round`` when its cancel callback says so."""


class RoundSolution(Struct, frozen=True, kw_only=True):
    """Bounds on my chance to win, from every state.

    Shape: ``lower``, ``upper`` [situation, my health, their health], healths counted in steps from 0, where 0 is
    gone (their 0: 1, mine 0: 0, both: the draw's worth).
    ``closed`` says whether ``upper - lower <= tolerance`` everywhere; ``widest`` is the largest difference.
    ``rounding_error`` is the largest rounding of one damage to whole steps, in points: an error of the model that
    the bracket does not hold. Endless play counts as my loss in ``lower`` and as my win in ``upper``.
    """

    model: RoundModel
    lower: Floats
    upper: Floats
    tolerance: float
    closed: bool
    widest: float
    rounding_error: float
    open_states: int

    def bounds(self, situation: str, mine: int, theirs: int) -> tuple[float, float]:
        """Lower and upper bound in one state.

        Errors: ``QuestionError`` for a situation or health the model does not have.
        """
        at = situation_index(self.model, situation)
        check_health(self.model, mine, theirs)
        return float(self.lower[at, mine, theirs]), float(self.upper[at, mine, theirs])


class _Clock(Struct, frozen=True, kw_only=True):
    """Time: ``chance`` that it runs out after an exchange, what that is ``worth`` to me, and where play is ``over``.

    Shape: ``worth`` and ``over`` [my health, their health].
    """

    chance: float
    worth: Floats
    over: Bools

    def runs(self, bound: Floats) -> Floats:
        """Bounds once the clock has had its chance; shape [situation, my health, their health]."""
        if not self.chance:
            return bound
        return np.where(self.over, bound, (1 - self.chance) * bound + self.chance * self.worth)


class RoundMix(Struct, frozen=True, kw_only=True):
    """Frequencies of both sides' options in one state, and the bracket of my chance to win there."""

    situation: str
    my_health: int
    their_health: int
    mine: dict[str, float]
    theirs: dict[str, float]
    lower: float
    upper: float
    closed: bool


def situation_index(model: RoundModel, name: str) -> int:
    """Where ``name`` stands among the model's situations; ``QuestionError`` if it does not."""
    names = [s.name for s in model.situations]
    if name not in names:
        right = did_you_mean(name, names) or f"one of {', '.join(names)}"
        raise QuestionError("value-invalid", f"no situation `{name}`", help=right, pointer="/situation")
    return names.index(name)


def check_health(model: RoundModel, mine: int, theirs: int) -> None:
    """``QuestionError`` unless both healths are 1 to full."""
    for word, health, full in (("my_health", mine, model.my_steps), ("their_health", theirs, model.their_steps)):
        if not 1 <= health <= full:
            message = f"`{health}` steps of health"
            raise QuestionError("value-invalid", message, help=f"1 to {full}", pointer=f"/{word}")


def solve_round(
    model: RoundModel, *, tolerance: float = 1e-4, progress: Progress | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> RoundSolution:
    """Bracket my chance to win from every state of ``model``.

    Where play must end, the bracket is at most ``tolerance`` wide in all. Both callbacks are called on every
    diagonal: ``progress(done, total)`` in diagonals, and ``cancelled()``.

    Errors: ``DataError`` for a model that means nothing; ``Cancelled``.
    """
    check_model(model)
    lower, upper = _blank(model)
    cells = _variants(model)
    total = model.my_steps + model.their_steps - 1
    share = tolerance / total
    clock = _clock(model)
    for done in range(total):
        if cancelled is not None and cancelled():
            raise Cancelled(f"stopped after {done} of {total} diagonals")
        if progress is not None:
            progress(done, total)
        for raised, mine, theirs in _groups(model, done + 2):
            _fill(cells[raised], clock, lower, upper, mine, theirs, share)
    if progress is not None:
        progress(total, total)
    gaps = upper - lower
    return RoundSolution(
        model=model, lower=lower, upper=upper, tolerance=tolerance, closed=bool(gaps.max() <= tolerance),
        widest=float(gaps.max()), rounding_error=max(c.error for c in cells.values()),
        open_states=int((gaps > tolerance).sum()),
    )


def _blank(model: RoundModel) -> tuple[Floats, Floats]:
    """Bounds before anything is solved: 0 and 1, and what is known where a health is gone."""
    shape = (len(model.situations), model.my_steps + 1, model.their_steps + 1)
    lower, upper = np.zeros(shape), np.ones(shape)
    for bound in (lower, upper):
        bound[:, 0, :] = 0.0
        bound[:, :, 0] = 1.0
        bound[:, 0, 0] = model.draw
    return lower, upper


def _variants(model: RoundModel) -> dict[tuple[bool, bool], Cells]:
    """The cells by whether my and their damage is raised, for those that occur."""
    bars = comeback_steps(model, model.my_steps), comeback_steps(model, model.their_steps)
    mine = {h <= bars[0] for h in (1, model.my_steps)}
    theirs = {h <= bars[1] for h in (1, model.their_steps)}
    return {(a, b): tabulate(model, mine_raised=a, theirs_raised=b) for a in mine for b in theirs}


def _groups(model: RoundModel, both: int) -> list[tuple[tuple[bool, bool], Healths, Healths]]:
    """The pairs of healths that sum to ``both``, by whether each side's damage is raised."""
    mine = np.arange(max(1, both - model.their_steps), min(model.my_steps, both - 1) + 1)
    theirs = both - mine
    mine_on = mine <= comeback_steps(model, model.my_steps)
    theirs_on = theirs <= comeback_steps(model, model.their_steps)
    out = []
    for raised in ((False, False), (False, True), (True, False), (True, True)):
        which = (mine_on == raised[0]) & (theirs_on == raised[1])
        if which.any():
            out.append((raised, mine[which], theirs[which]))
    return out


def _clock(model: RoundModel) -> _Clock:
    mine = np.arange(model.my_steps + 1)[:, None] / model.my_steps
    theirs = np.arange(model.their_steps + 1)[None, :] / model.their_steps
    ahead = np.sign(np.round(mine - theirs, 12))
    worth = np.where(ahead > 0, 1.0, np.where(ahead < 0, 0.0, model.draw))
    return _Clock(chance=model.timeout, worth=worth, over=(mine == 0) | (theirs == 0))


def _fill(
    cells: Cells, clock: _Clock, lower: Floats, upper: Floats, mine: Healths, theirs: Healths, share: float
) -> None:
    """Solve the states of these pairs of healths and write their bounds."""
    found = _closing(cells, clock, lower, upper, mine, theirs, share)
    lower[:, mine, theirs] = found.lower.T
    upper[:, mine, theirs] = found.upper.T


def _closing(
    cells: Cells, clock: _Clock, lower: Floats, upper: Floats, mine: Healths, theirs: Healths, share: float
) -> Closing:
    """Brackets of the pairs, given the bounds of all smaller sums."""
    layer, inherited = _layer(cells, clock, lower, upper, mine, theirs)
    start = (lower + upper)[:, np.maximum(mine - 1, 1), theirs] + (lower + upper)[:, mine, np.maximum(theirs - 1, 1)]
    # the operator never widens what it is given, so a share of the tolerance on top of it is always within reach
    return close(layer, start=start.T / 4, wanted=inherited + share, budget=Budget(iterations=PER_LAYER))


def _layer(
    cells: Cells, clock: _Clock, lower: Floats, upper: Floats, mine: Healths, theirs: Healths
) -> tuple[Layer, Floats]:
    """The small game of every pair, and the widest bracket that it leads into, by pair."""
    states, rows, columns, _ = cells.moves.shape
    lower, upper = clock.runs(lower), clock.runs(upper)
    gains = np.zeros((len(mine), len(cells.pairs), states))
    costs = np.zeros((len(mine), len(cells.pairs), states))
    for at, (dealt, taken) in enumerate(cells.pairs):
        left = np.maximum(mine - taken, 0), np.maximum(theirs - dealt, 0)
        gains[:, at] = lower[:, left[0], left[1]].T
        costs[:, at] = 1 - upper[:, left[0], left[1]].T
    shape = (len(mine), states, rows, columns)
    inherited = (1 - costs - gains).reshape(len(mine), -1).max(axis=1, initial=0.0)
    stays = cells.moves.sum(axis=-1)
    won = (clock.chance * clock.worth[mine, theirs])[:, None, None, None] * stays
    lost = (clock.chance * (1 - clock.worth[mine, theirs]))[:, None, None, None] * stays
    layer = Layer(
        gains=(gains.reshape(len(mine), -1) @ cells.hits).reshape(shape) + won,
        costs=(costs.reshape(len(mine), -1) @ cells.hits).reshape(shape) + lost,
        moves=cells.moves * (1 - clock.chance), rows=cells.rows, columns=cells.columns,
        rounding=ROUNDING + cells.hits.shape[0] * 2.0**-52,
    )
    return layer, inherited


def round_mix(solution: RoundSolution, situation: str, mine: int, theirs: int) -> RoundMix:
    """Both sides' mixes in one state, worked out again from the bounds of the states around it.

    Errors: ``QuestionError`` for a situation or health the model does not have.
    """
    model = solution.model
    at = situation_index(model, situation)
    check_health(model, mine, theirs)
    raised = (mine <= comeback_steps(model, model.my_steps), theirs <= comeback_steps(model, model.their_steps))
    cells = tabulate(model, mine_raised=raised[0], theirs_raised=raised[1])
    share = solution.tolerance / (model.my_steps + model.their_steps - 1)
    found = _closing(cells, _clock(model), solution.lower, solution.upper, np.array([mine]), np.array([theirs]), share)
    here = model.situations[at]
    return RoundMix(
        situation=situation, my_health=mine, their_health=theirs,
        mine=dict(zip(here.mine, found.mine[0, at].tolist(), strict=False)),
        theirs=dict(zip(here.theirs, found.theirs[0, at].tolist(), strict=False)),
        lower=float(solution.lower[at, mine, theirs]), upper=float(solution.upper[at, mine, theirs]),
        closed=bool(found.closed[0]),
    )
