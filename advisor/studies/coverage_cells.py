"""Every delay of one option against one reply: physics in intervals, verdicts of the rules on each.

Where the exchange ends alike (same contact, phase and posture) what rules read beside it, advantage and
frames to spare, grows or falls by one frame a delay. So the verdict is asked at both ends of such a piece
and, where they or the sign of the advantage differ, in the middle until the place of the change is found.
"""

from __future__ import annotations

import copy
from collections.abc import Sequence
from itertools import pairwise

import msgspec
from msgspec import Struct

from advisor.facts import Pair, Ready, Situation, meeting_of, pair_of
from advisor.pack.model import Conventions
from advisor.studies.coverage_answer import Stretch
from advisor.studies.weighing import Weigher
from advisor.timeline.delays import DelayWindow, delay_windows
from advisor.timeline.exchange import SAME_FRAME
from advisor.timeline.side import Side
from advisor.verdicts import Judged

__all__ = ["Grid", "Timed", "lands", "later", "loses"]

TURN = {"me": "them", "them": "me"}
RULINGS = {"first": "second", "second": "first"}


class Timed(Struct, kw_only=True):
    """One cell on its way: its physical pieces, and what the rules said at the delays that were asked."""

    mine: Ready
    theirs: Ready
    pieces: list[DelayWindow]
    asked: dict[int, tuple[Pair, Judged]] = {}
    windows: list[Stretch] = []


def lands(piece: DelayWindow) -> bool:
    """Whether contact alone speaks for me: my attack lands, or my parry takes theirs."""
    if piece.by == "me":
        return piece.effect in ("hit", "counter_hit")
    return piece.by == "them" and piece.effect == "parried"


def loses(piece: DelayWindow) -> bool:
    """Whether contact alone speaks against me."""
    if piece.by == "them":
        return piece.effect in ("hit", "counter_hit")
    return piece.by == "me" and piece.effect == "parried"


class Grid:
    """All exchanges of one situation over the delays 0 to ``most`` of the side that times them."""

    def __init__(self, situation: Situation, most: int, timed_by: str) -> None:
        self.situation = situation
        self.most = most
        self.timed_by = timed_by
        conventions = situation.pack.conventions
        self.conventions = conventions if timed_by == "me" else _mirrored(conventions)

    def cell(self, mine: Ready, theirs: Ready) -> Timed:
        """The physical pieces of one exchange; a follow-up of the side that times it has its own timing."""
        string = mine.entry.follows or theirs.entry.follows
        me, them = (mine.contact, theirs.contact) if string else (mine.free, theirs.free)
        most = 0 if (mine if self.timed_by == "me" else theirs).entry.follows else self.most
        if me is None or them is None:
            pieces = [DelayWindow(first=0, last=most, by="unknown", effect="unknown")]
        else:
            pieces = self._pieces(me, them, most)
        return Timed(mine=mine, theirs=theirs, pieces=pieces)

    def _pieces(self, me: Side, them: Side, most: int) -> list[DelayWindow]:
        late, other = (me, them) if self.timed_by == "me" else (them, me)
        here = self.situation
        found = delay_windows(
            self.conventions, late, other, here.distance, most,
            nearest=here.nearest, farthest=here.farthest, fine=True,
        )  # fmt: skip
        if self.timed_by == "me":
            return found
        return [msgspec.structs.replace(piece, by=TURN.get(piece.by, piece.by)) for piece in found]

    def pair(self, cell: Timed, delay: int) -> Pair:
        """Everything about the exchange at one delay."""
        if self.timed_by == "me":
            return pair_of(self.situation, cell.mine, cell.theirs, delay)
        return pair_of(self.situation, cell.mine, later(cell.theirs, delay))

    def meeting(self, mine: Ready, theirs: Ready, delay: int) -> Pair:
        """The exchange at one delay, without the facts for rules."""
        if self.timed_by == "me":
            return meeting_of(self.situation, mine, theirs, delay)
        return meeting_of(self.situation, mine, later(theirs, delay))

    def judge(self, cells: Sequence[Timed], weigher: Weigher) -> None:
        """Fill in the verdicts of the cells over all delays."""
        self._ask([(cell, d) for cell in cells for p in cell.pieces for d in {p.first, p.last}], weigher)
        while True:
            open_ = [(cell, d) for cell in cells for d in _between(cell)]
            if not open_:
                break
            self._ask(open_, weigher)
        for cell in cells:
            cell.windows = _stretches(cell)

    def _ask(self, wanted: Sequence[tuple[Timed, int]], weigher: Weigher) -> None:
        pairs = [self.pair(cell, delay) for cell, delay in wanted]
        for (cell, delay), pair, judged in zip(wanted, pairs, weigher.judge(pairs), strict=True):
            cell.asked[delay] = (pair, judged)


def _mirrored(conventions: Conventions) -> Conventions:
    """The same game with the sides of the same-frame table swapped."""
    table = {
        (theirs, mine): RULINGS.get(word, word)
        for (mine, theirs), word in {**SAME_FRAME, **conventions.same_frame}.items()
    }
    return msgspec.structs.replace(conventions, same_frame=table)


def later(ready: Ready, delay: int) -> Ready:
    """The option begun ``delay`` frames late."""
    late = copy.copy(ready)
    if ready.free is not None:
        late.free = msgspec.structs.replace(ready.free, delay=delay)
    if ready.contact is not None:
        late.contact = msgspec.structs.replace(ready.contact, delay=delay)
    return late


def _between(cell: Timed) -> list[int]:
    """Delays in the middle between two neighbours, asked already, that differ."""
    out = []
    for piece in cell.pieces:
        known = sorted(d for d in cell.asked if piece.first <= d <= piece.last)
        for low, high in pairwise(known):
            if high - low > 1 and _mark(cell, low) != _mark(cell, high):
                out.append((low + high) // 2)
    return out


def _mark(cell: Timed, delay: int) -> tuple[str, int]:
    """The verdict, and whether I am free before (1), after (-1) or with them; rules turn about that."""
    pair, judged = cell.asked[delay]
    left = pair.outcome.advantage if pair.outcome and pair.outcome.advantage is not None else 0
    return judged.verdict, (left > 0) - (left < 0)


def _stretches(cell: Timed) -> list[Stretch]:
    """Runs of delays with one verdict and one contact, in order."""
    out: list[Stretch] = []
    for piece in cell.pieces:
        known = sorted(d for d in cell.asked if piece.first <= d <= piece.last)
        for i, delay in enumerate(known):
            last = known[i + 1] - 1 if i + 1 < len(known) else delay
            verdict = cell.asked[delay][1].verdict
            before = out[-1] if out else None
            if before and (before.verdict, before.by, before.effect) == (verdict, piece.by, piece.effect):
                out[-1] = msgspec.structs.replace(before, last=last)
            else:
                out.append(Stretch(first=delay, last=last, verdict=verdict, by=piece.by, effect=piece.effect))
    return out
