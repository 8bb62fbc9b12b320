"""The written hits of a move into normalised ones."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal, TypeVar

import msgspec
from msgspec import UNSET, UnsetType

from advisor.documents import Path_
from advisor.pack.check import Report
from advisor.pack.model import UPRIGHT, Hit, Leaves
from advisor.pack.words import Words
from advisor.pack.written_move import HitKeys, WrittenLeaves, WrittenPushback, WrittenResults
from advisor.units import Span, to_micro

__all__ = ["HitReader", "known"]

BOTH_SIDES = frozenset({"left", "right"})

T = TypeVar("T")


def known(value: T | Literal["unknown"] | UnsetType | None) -> T | None:
    """The value, or None when it is absent, ``unknown`` or null: all three mean unknown."""
    if value is UNSET or value is None or value == "unknown":
        return None
    return value


class HitReader:
    """Turns written hits into normalised ones; faults go to ``report``."""

    def __init__(
        self, report: Report, words: Words, none_when_absent: frozenset[str], startup_shift: int
    ) -> None:
        self.report = report
        self.words = words
        self.none_when_absent = none_when_absent
        self.startup_shift = startup_shift

    def read(
        self,
        written: HitKeys,
        at: Path_,
        number: int,
        tags: Sequence[list[str] | Literal["none", "unknown"] | UnsetType | None],
        derived: dict[str, str],
    ) -> Hit:
        """The hit at path ``at``, the move's ``number``-th from 0; ``tags`` are its own and the move's."""
        first = self._first_active(written, at)
        if first is not None and self.startup_shift:
            derived[f"hits[{number}].first_active"] = "startup + 1"
        active = known(written.active)
        level = known(written.level)
        block, hit = self._pushback(written)
        results = known(written.leaves)
        leaves = results if isinstance(results, WrittenResults) else WrittenResults()
        hit_leaves = self._result(written.leaves, leaves.hit, (*at, "leaves", "hit"))
        # A counter-hit leaves what a hit does unless it is written otherwise.
        counter_leaves = hit_leaves
        if leaves.counter_hit is not UNSET:
            counter_leaves = self._result(written.leaves, leaves.counter_hit, (*at, "leaves", "counter_hit"))
        return Hit(
            first_active=first,
            active_stop=None if first is None or active is None else first + active,
            level=None if level is None else self.words.check(self.report, "level", level, (*at, "level")),
            damage=known(written.damage),
            chip=known(written.chip),
            reach=self.distance(written.reach, (*at, "reach")),
            tags=self._tags(tags),
            tracks=self._tracks(written),
            breaks=self._breaks(written, at),
            on_block=known(written.on_block),
            on_hit=known(written.on_hit),
            on_counter_hit=known(written.on_counter_hit),
            blockstun=known(written.blockstun),
            hitstun=known(written.hitstun),
            pushback_block=block,
            pushback_hit=hit,
            leaves_block=self._result(written.leaves, leaves.block, (*at, "leaves", "block")),
            leaves_hit=hit_leaves,
            leaves_counter_hit=counter_leaves,
        )

    def _first_active(self, written: HitKeys, at: Path_) -> int | None:
        startup = known(written.startup)
        if startup is None:
            return None
        if startup + self.startup_shift < 1:
            self.report.fault(
                "startup-impossible",
                "startup counts the first active frame in this pack, so it is 1 at least",
                (*at, "startup"),
                help="set `startup_counts: before_active` in `pack.yaml` if it does not",
            )
            return 1
        return startup + self.startup_shift

    def distance(self, value: float | str | UnsetType | None, path: Path_) -> int | None:
        """Micro-units of a written distance: a number of the pack's unit, or a named distance."""
        if isinstance(value, (int, float)):
            return to_micro(value)
        stated = known(value)
        if stated is None:
            return None
        self.words.check(self.report, "distance", stated, path)
        return (self.words.distances or {}).get(stated)

    def _pushback(self, written: HitKeys) -> tuple[int | None, int | None]:
        stated = known(written.pushback)
        if isinstance(stated, WrittenPushback):
            block, hit = known(stated.block), known(stated.hit)
        else:
            block = hit = stated if isinstance(stated, (int, float)) else None
        return (None if block is None else to_micro(block)), (None if hit is None else to_micro(hit))

    def _result(
        self,
        whole: object,
        written: WrittenLeaves | Literal["unknown"] | UnsetType | None,
        at: Path_,
    ) -> Leaves | None:
        """What one result of a hit leaves; what is absent is nothing where the pack says so."""
        found = self.leaves(written, at)
        if "leaves" not in self.none_when_absent or whole is None or whole == "unknown":
            return found
        if written is UNSET:
            return Leaves(knockdown=UPRIGHT, distance=0, wall=UPRIGHT, floor=UPRIGHT)
        if found is None or not isinstance(written, WrittenLeaves):
            return found
        return msgspec.structs.replace(
            found,
            knockdown=UPRIGHT if written.knockdown is UNSET else found.knockdown,
            distance=0 if written.distance is UNSET else found.distance,
        )

    def leaves(
        self, written: WrittenLeaves | Literal["unknown"] | UnsetType | None, at: Path_
    ) -> Leaves | None:
        """What a contact leaves; None when that is not known."""
        stated = known(written)
        if not isinstance(stated, WrittenLeaves):
            return None
        knockdown = known(stated.knockdown)
        if knockdown is not None:
            self.words.check(self.report, "knockdown", knockdown, (*at, "knockdown"))
        return Leaves(
            knockdown=knockdown,
            distance=self.distance(stated.distance, (*at, "distance")),
            wall=self._effect("wall", stated.wall, at),
            floor=self._effect("floor", stated.floor, at),
        )

    def caught(
        self, written: WrittenLeaves | Literal["unknown"] | UnsetType | None, at: Path_
    ) -> Leaves | None:
        """What a catch leaves; no wall or floor effect where the pack says that absence means none."""
        if written is UNSET and "leaves" in self.none_when_absent:
            return Leaves(wall=UPRIGHT, floor=UPRIGHT)
        return self.leaves(written, at)

    def _effect(self, key: str, written: str | UnsetType | None, at: Path_) -> str | None:
        """A wall or floor effect that the pack declares, or that there is none."""
        if written is UNSET and "leaves" in self.none_when_absent:
            return UPRIGHT
        stated = known(written)
        if stated is not None and stated != UPRIGHT:
            self.words.check(self.report, f"{key}_effect", stated, (*at, key))
        return stated

    def stated_tags(self, value: list[str] | Literal["none", "unknown"] | UnsetType | None) -> list[str]:
        """The tags written in one place, if there are any."""
        return value if isinstance(value, list) else []

    def _tags(
        self, places: Sequence[list[str] | Literal["none", "unknown"] | UnsetType | None]
    ) -> frozenset[str] | None:
        """The union of the tags written on the move and on the hit.

        Unknown when either is written as unknown, or when both are absent and absence says nothing.
        """
        if any(place is None or place == "unknown" for place in places):
            return None
        if all(place is UNSET for place in places) and "tags" not in self.none_when_absent:
            return None
        return frozenset(tag for place in places for tag in self.stated_tags(place))

    def _tracks(self, written: HitKeys) -> frozenset[str] | None:
        stated = known(written.tracking)
        if stated is None:
            absent = written.tracking is UNSET and "tracking" in self.none_when_absent
            return frozenset() if absent else None
        if stated == "both":
            return BOTH_SIDES
        return frozenset() if stated == "none" else frozenset({stated})

    def _breaks(self, written: HitKeys, at: Path_) -> frozenset[str] | None:
        stated = known(written.breaks)
        if isinstance(stated, list):
            return self.words.check_all(self.report, "break", stated, (*at, "breaks"))
        absent = written.breaks is UNSET and "breaks" in self.none_when_absent
        return frozenset() if absent or stated == "none" else None

    def check_order(self, hits: Sequence[Hit], places: Sequence[Path_]) -> None:
        """A fault for each hit that begins before an earlier one ends."""
        ends, named = 0, ""
        for number, (hit, place) in enumerate(zip(hits, places, strict=True)):
            if hit.first_active is None:
                continue
            if hit.first_active < ends:
                self.report.fault(
                    "hits-overlap",
                    f"is active from frame {hit.first_active}, but {named} is active to frame {ends - 1}",
                    (*place, "startup"),
                    help="list the hits in time order; startup counts from the move's frame 1 for each",
                )
            stop = hit.first_active + 1 if hit.active_stop is None else hit.active_stop
            if stop > ends:
                ends, named = stop, f"hit {number + 1}"

    def check_within(self, hits: Sequence[Hit], total: int | None, at: Path_, listed: bool) -> None:
        """A fault for each hit that is active past the move's ``total``."""
        if total is None:
            return
        for number, hit in enumerate(hits):
            if hit.first_active is None:
                continue
            last = hit.first_active if hit.active_stop is None else hit.active_stop - 1
            if last > total:
                span = Span(hit.first_active, last + 1).shown()
                self.report.fault(
                    "window-past-total",
                    f"active frames {span} go past the end of the move, whose total is {total}",
                    (*at, "hits", number, "startup") if listed else (*at, "startup"),
                )
