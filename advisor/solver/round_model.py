"""The round as data: situations, both sides' options in each, and what every pair of options leads to.

Health is counted in whole steps of ``points_per_step`` points; damage is rounded to whole steps, and the largest
rounding is part of every answer. A round is a win when their health is gone and mine is not, a loss the other way
round, and worth ``draw`` when both are gone in one exchange.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Literal

import numpy as np
from msgspec import Struct

from advisor.errors import DataError, Finding, did_you_mean
from advisor.solver.guarantee import Bools, Floats

__all__ = [
    "Branch", "Cells", "Comeback", "RoundModel", "Situation", "check_model", "comeback_steps", "damage_steps",
    "tabulate",
]

MOST_STEPS = 400
MOST_OPTIONS = 60
MOST_SITUATIONS = 30
SUM = 1e-9


class Branch(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One way an exchange may go: its chance, damage dealt to them and taken by me in points, the next situation."""

    chance: float
    dealt: float = 0.0
    taken: float = 0.0
    next: str


class Situation(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Options of both sides, and ``cells[i][j]``: the branches of my option i against their option j."""

    name: str
    mine: tuple[str, ...]
    theirs: tuple[str, ...]
    cells: tuple[tuple[tuple[Branch, ...], ...], ...]


class Comeback(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A side whose health is below ``below`` (a fraction of its full health) deals ``times`` the damage."""

    below: float
    times: float


class RoundModel(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A round: its situations, both sides' full health in steps, and how damage becomes steps.

    Units: ``points_per_step`` and the branches' damage in points of health; ``draw`` is the chance to win that a
    double knock-out is worth. ``rounding`` is ``nearest`` (halves up) or ``up``. ``timeout`` is the chance that time
    runs out after an exchange that leaves both standing: the larger share of full health wins, equal ones draw.
    """

    situations: tuple[Situation, ...]
    my_steps: int
    their_steps: int
    points_per_step: float = 1.0
    rounding: Literal["nearest", "up"] = "nearest"
    draw: float = 0.5
    comeback: Comeback | None = None
    timeout: float = 0.0


class Cells(Struct, frozen=True, kw_only=True):
    """The cells of all situations in arrays, for one state of the comeback rule.

    Shape: ``moves`` [s, m, n, s] chance that nothing is dealt or taken and play goes on there; ``hits`` [d * s, s m n]
    chance of damage pair ``pairs[d]`` (steps dealt, steps taken) followed by that situation; ``error`` the largest
    rounding of a damage, in points.
    """

    moves: Floats
    hits: Floats
    pairs: tuple[tuple[int, int], ...]
    rows: Bools
    columns: Bools
    error: float


def check_model(model: RoundModel) -> None:
    """Refuse a model that means nothing, with every fault and its path.

    Errors: ``DataError``.
    """
    faults = list(_faults(model))
    if faults:
        raise DataError(faults)


def _fault(path: str, message: str, right: str) -> Finding:
    return Finding(code="round-malformed", message=message, help=right, path=path)


def _faults(model: RoundModel) -> Iterator[Finding]:
    for path, steps in (("my_steps", model.my_steps), ("their_steps", model.their_steps)):
        if not 1 <= steps <= MOST_STEPS:
            yield _fault(path, f"`{steps}` steps of health", f"1 to {MOST_STEPS}; raise `points_per_step`")
    if not (math.isfinite(model.points_per_step) and model.points_per_step > 0):
        yield _fault("points_per_step", f"`{model.points_per_step}` points in a step", "a number above 0")
    if not 0 <= model.draw <= 1:
        yield _fault("draw", f"a draw worth `{model.draw}`", "0 to 1")
    if not 0 <= model.timeout < 1:
        yield _fault("timeout", f"a chance of `{model.timeout}` that time runs out", "0 or more, below 1")
    if model.comeback is not None:
        if not 0 < model.comeback.below <= 1:
            yield _fault("comeback.below", f"`{model.comeback.below}` of full health", "above 0, at most 1")
        if not 0 < model.comeback.times <= 100:
            yield _fault("comeback.times", f"damage times `{model.comeback.times}`", "above 0, at most 100")
    if not 1 <= len(model.situations) <= MOST_SITUATIONS:
        yield _fault("situations", f"`{len(model.situations)}` situations", f"1 to {MOST_SITUATIONS}")
    names = [s.name for s in model.situations]
    for name in sorted({n for n in names if names.count(n) > 1}):
        yield _fault("situations", f"`{name}` stands twice", "one entry for each situation")
    for at, situation in enumerate(model.situations):
        yield from _situation_faults(f"situations[{at}]", situation, names)


def _situation_faults(path: str, situation: Situation, names: Sequence[str]) -> Iterator[Finding]:
    for side, labels in (("mine", situation.mine), ("theirs", situation.theirs)):
        if not 1 <= len(labels) <= MOST_OPTIONS:
            yield _fault(f"{path}.{side}", f"`{len(labels)}` options", f"1 to {MOST_OPTIONS}")
        for label in sorted({x for x in labels if labels.count(x) > 1}):
            yield _fault(f"{path}.{side}", f"`{label}` stands twice", "one entry for each option")
    if len(situation.cells) != len(situation.mine):
        right = f"{len(situation.mine)}, as options of mine"
        yield _fault(f"{path}.cells", f"`{len(situation.cells)}` rows of cells", right)
    for i, row in enumerate(situation.cells):
        if len(row) != len(situation.theirs):
            right = f"{len(situation.theirs)}, as options of theirs"
            yield _fault(f"{path}.cells[{i}]", f"`{len(row)}` cells", right)
        for j, cell in enumerate(row):
            yield from _cell_faults(f"{path}.cells[{i}][{j}]", cell, names)


def _cell_faults(path: str, cell: Sequence[Branch], names: Sequence[str]) -> Iterator[Finding]:
    for at, branch in enumerate(cell):
        here = f"{path}[{at}]"
        if not 0 <= branch.chance <= 1:
            yield _fault(f"{here}.chance", f"a chance of `{branch.chance}`", "0 to 1")
        for word, damage in (("dealt", branch.dealt), ("taken", branch.taken)):
            if not (math.isfinite(damage) and 0 <= damage <= 1e9):
                yield _fault(f"{here}.{word}", f"damage of `{damage}` points", "0 or more")
        if branch.next not in names:
            near = did_you_mean(branch.next, names) or f"one of {', '.join(sorted(set(names))[:20])}"
            yield _fault(f"{here}.next", f"no situation `{branch.next}`", near)
    total = sum(b.chance for b in cell)
    if not abs(total - 1) <= SUM:
        yield _fault(path, f"chances that sum to `{total:.12g}`", "branches whose chances sum to 1")


def comeback_steps(model: RoundModel, full: int) -> int:
    """The largest health, in steps of ``full``, at which the comeback rule is on; 0 without a rule."""
    if model.comeback is None:
        return 0
    bar = model.comeback.below * full
    return min(full, math.ceil(bar - 1e-9) - 1)


def tabulate(model: RoundModel, *, mine_raised: bool, theirs_raised: bool) -> Cells:
    """The model's cells in arrays, with the comeback rule on for the damage of the sides that are raised."""
    spots = {s.name: at for at, s in enumerate(model.situations)}
    count = len(spots)
    most = max(len(s.mine) for s in model.situations)
    widest = max(len(s.theirs) for s in model.situations)
    times = model.comeback.times if model.comeback else 1.0
    mine_times, their_times = (times if mine_raised else 1.0), (times if theirs_raised else 1.0)
    found: dict[tuple[int, int], Floats] = {(0, 0): np.zeros((count, count, most, widest))}
    error = 0.0
    for s, i, j, branch in _branches(model):
        pair = (damage_steps(model, branch.dealt * mine_times), damage_steps(model, branch.taken * their_times))
        exact = (branch.dealt * mine_times, branch.taken * their_times)
        error = max(error, *(abs(k * model.points_per_step - e) for k, e in zip(pair, exact, strict=True)))
        chances = found.setdefault(pair, np.zeros((count, count, most, widest)))
        chances[spots[branch.next], s, i, j] += branch.chance
    moves = np.ascontiguousarray(found.pop((0, 0)).transpose(1, 2, 3, 0))
    pairs = tuple(sorted(found))
    hits = [found[p].reshape(count, count * most * widest) for p in pairs]
    rows = np.array([[i < len(s.mine) for i in range(most)] for s in model.situations])
    columns = np.array([[j < len(s.theirs) for j in range(widest)] for s in model.situations])
    stacked = np.concatenate(hits) if hits else np.zeros((0, count * most * widest))
    return Cells(moves=moves, hits=stacked, pairs=pairs, rows=rows, columns=columns, error=error)


def _branches(model: RoundModel) -> Iterator[tuple[int, int, int, Branch]]:
    for s, situation in enumerate(model.situations):
        for i, row in enumerate(situation.cells):
            for j, cell in enumerate(row):
                for branch in cell:
                    if branch.chance > 0:
                        yield s, i, j, branch


def damage_steps(model: RoundModel, damage: float) -> int:
    """Whole steps of a damage in points, rounded as the model says."""
    steps = damage / model.points_per_step
    whole = math.ceil(steps - 1e-9) if model.rounding == "up" else math.floor(steps + 0.5 + 1e-9)
    return max(0, whole)
