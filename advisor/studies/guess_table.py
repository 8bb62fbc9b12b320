"""The payoffs of one situation as a matrix: my options by theirs, whoever times them at every timing that matters."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cache

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from advisor.facts import Pair, Ready
from advisor.sentences import say
from advisor.solver.timing import success
from advisor.studies.coverage_cells import Grid, Timed
from advisor.studies.guess_worth import Priced, Worth

__all__ = [
    "LATE", "PLAYED", "Plan", "Table", "build", "distinct", "known_lines", "lands_on", "telling", "timings_of",
]  # fmt: skip

PLAYED = 1e-9
"""Shares of a mix above this count as played."""

LATE = 120
"""Delay, in frames, at which an option that was lost on the way counts as begun: nothing happens before it."""


class Plan(Struct, frozen=True, kw_only=True):
    """One line of the matrix: an option begun at ``delay``; on ``first`` to ``last`` it ends alike against all.

    Both ends included; None when the longest delay tried is among them, so that the run may go on.
    """

    ready: Ready
    delay: int
    first: int
    last: int

    @property
    def key(self) -> str:
        """Id of the option; with its delay where it is begun late."""
        return f"{self.ready.entry.key}+{self.delay}" if self.delay else self.ready.entry.key

    @property
    def name(self) -> str:
        """As people say it."""
        name = self.ready.entry.name
        return say("{entry}, {delay} late", entry=name, delay=self.delay) if self.delay else name

    @property
    def width(self) -> int:
        """Frames on which it may be begun."""
        return self.last - self.first + 1


class Table(Struct, kw_only=True):
    """Payoffs of ``mine`` (rows) against ``theirs`` (columns), in what ``worth`` counts; NaN: unknown.

    ``payoff`` has execution in it, ``clean`` is what a row is worth when it comes off, ``missed`` when it does
    not, ``chance`` how often it does (None: not asked for, it always does).
    """

    mine: list[Plan]
    theirs: list[Plan]
    payoff: NDArray[np.float64]
    clean: NDArray[np.float64]
    missed: NDArray[np.float64]
    chance: list[float | None]
    priced: dict[tuple[int, int], Priced]
    pairs: dict[tuple[int, int], Pair]

    def only(self, rows: Sequence[int], columns: Sequence[int]) -> Table:
        """The table of some rows and columns, in that order."""
        places = [((i, j), (rows[i], columns[j])) for i in range(len(rows)) for j in range(len(columns))]
        return Table(
            mine=[self.mine[i] for i in rows], theirs=[self.theirs[j] for j in columns],
            payoff=self.payoff[np.ix_(rows, columns)], clean=self.clean[np.ix_(rows, columns)],
            missed=self.missed[np.ix_(rows, columns)], chance=[self.chance[i] for i in rows],
            priced={new: self.priced[old] for new, old in places},
            pairs={new: self.pairs[old] for new, old in places},
        )  # fmt: skip


def timings_of(cells: Sequence[Timed], ready: Ready) -> list[Plan]:
    """The runs of delays on which an option ends alike against everything it is set against.

    Each is begun in its middle, the earlier of two. Units: frames.
    """
    if not cells:
        return []
    stop = cells[0].pieces[-1].last + 1
    starts = sorted({piece.first for cell in cells for piece in cell.pieces})
    out = []
    for first, after in zip(starts, [*starts[1:], stop], strict=True):
        out.append(Plan(ready=ready, delay=(first + after - 1) // 2, first=first, last=after - 1))
    return out


Line = Callable[[int], list[float | None]]


def _line_of(grid: Grid, against: Sequence[tuple[Ready, Ready]], worth: Worth) -> Line:
    """What an option is worth against each of the other side's when it is begun at a delay."""
    return cache(lambda delay: [worth(grid.meeting(a, b, delay)).value for a, b in against])


def _alike(plan: Plan, line: Line) -> list[Plan]:
    """The run parted where what it leaves is priced otherwise: contact alike, the advantage need not be.

    The advantage grows or falls by one frame a delay, and what is worked out of it with it, so equal prices at two
    delays hold between them; the middle is asked besides.
    """
    middle = (plan.first + plan.last) // 2
    starts = [plan.first, *_changes(line, plan.first, middle), *_changes(line, middle, plan.last)]
    if len(starts) == 1:
        return [plan]
    ends = [start - 1 for start in starts[1:]] + [plan.last]
    return [
        Plan(ready=plan.ready, delay=(first + last) // 2, first=first, last=last)
        for first, last in zip(starts, ends, strict=True)
    ]


def _changes(line: Line, low: int, high: int) -> list[int]:
    """The delays after ``low`` up to ``high`` at which the prices are no longer those of the frame before."""
    if low >= high or line(low) == line(high):
        return []
    if high - low == 1:
        return [high]
    middle = (low + high) // 2
    return [*_changes(line, low, middle), *_changes(line, middle, high)]


def build(
    grid: Grid, mine: Sequence[Ready], theirs: Sequence[Ready], worth: Worth, parting: Worth | None = None
) -> Table:
    """The whole table of a situation; the side that times the exchange has a line a timing.

    ``parting`` is a cheaper worth by which runs of delays are parted, ``worth`` itself when left out.
    """
    parting = parting or worth
    cells = [[grid.cell(a, b) for b in theirs] for a in mine]
    if grid.timed_by == "me":
        rows = [
            part
            for a, line in zip(mine, cells, strict=True)
            for plan in timings_of(line, a)
            for part in _alike(plan, _line_of(grid, [(a, b) for b in theirs], parting))
        ]
        columns = [Plan(ready=b, delay=0, first=0, last=0) for b in theirs]
    else:
        rows = [Plan(ready=a, delay=0, first=0, last=0) for a in mine]
        lines = [[line[j] for line in cells] for j in range(len(theirs))]
        columns = [
            part
            for b, line in zip(theirs, lines, strict=True)
            for plan in timings_of(line, b)
            for part in _alike(plan, _line_of(grid, [(a, b) for a in mine], parting))
        ]
    pairs = {
        (i, j): grid.meeting(row.ready, column.ready, row.delay if grid.timed_by == "me" else column.delay)
        for i, row in enumerate(rows)
        for j, column in enumerate(columns)
    }
    priced = {place: worth(pair) for place, pair in pairs.items()}
    payoff = np.full((len(rows), len(columns)), np.nan)
    for place, price in priced.items():
        if price.value is not None:
            payoff[place] = price.value
    return Table(
        mine=rows, theirs=columns, payoff=payoff, clean=payoff, missed=np.full_like(payoff, np.nan),
        chance=[None] * len(rows), priced=priced, pairs=pairs,
    )  # fmt: skip


def distinct(table: Table, timed_by: str) -> Table:
    """Without timings of an option that another timing of it equals or betters everywhere."""
    mine = timed_by == "me"
    lines = table.payoff if mine else -table.payoff.T
    plans = table.mine if mine else table.theirs
    kept: list[int] = []
    for i, plan in enumerate(plans):
        rivals = [k for k, other in enumerate(plans) if k != i and other.ready is plan.ready]
        if not any(_betters(lines[k], lines[i], plans[k], plan, first=k < i) for k in rivals):
            kept.append(i)
    other = list(range(len(table.theirs if mine else table.mine)))
    return table.only(kept, other) if mine else table.only(other, kept)


def _betters(one: NDArray[np.float64], two: NDArray[np.float64], a: Plan, b: Plan, *, first: bool) -> bool:
    """Whether line ``one`` is never worse than ``two``; of equals the wider one stays, then the earlier."""
    if np.isnan(one).any() or np.isnan(two).any() or (one < two).any():
        return False
    if (one > two).any():
        return True
    return (a.width, first) > (b.width, not first)


def lands_on(plans: Sequence[Plan], aim: Plan, spread: float) -> tuple[list[float], float]:
    """The chance that a player who aims at ``aim`` begins within each of ``plans``, and that the option is lost.

    The start is normal about the middle of the run, with standard deviation ``spread`` (frames), so that the run
    itself is met with ``2 Phi((w/2) / spread) - 1``; what is given before the first frame is lost.
    """
    middle = (aim.first + aim.last) / 2
    shares = [success(plan.width, spread, (plan.first + plan.last) / 2 - middle) for plan in plans]
    return shares, max(0.0, 1.0 - sum(shares))


def known_lines(payoff: NDArray[np.float64]) -> tuple[list[int], list[int]]:
    """The rows and columns of the part without unknown payoffs (NaN), both empty when nothing stays.

    A column goes when more than half of the rows are unknown against it, then every row with an unknown payoff.
    """
    blank = np.isnan(payoff)
    columns = [j for j in range(blank.shape[1]) if len(blank) and blank[:, j].mean() <= 0.5]
    rows = [i for i in range(len(blank)) if not blank[i, columns].any()] if columns else []
    return rows, columns if rows else []


def telling(shares: Sequence[float], losses: Sequence[float], most: int) -> list[int]:
    """The options that tell most of a side: all that are played, then those that lose least, ``most`` if there are.

    ``shares`` are of its mix, ``losses`` against the other side's.
    """
    order = sorted(range(len(shares)), key=lambda i: (-round(shares[i], 9), losses[i], i))
    return order[: max(most, sum(share > PLAYED for share in shares))]
