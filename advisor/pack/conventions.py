"""The written conventions of a pack into normalised ones, and the faults of meaning in them."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from msgspec import UNSET

from advisor.pack.check import Report
from advisor.pack.hits import known
from advisor.pack.model import UPRIGHT, Catch, Conventions, Effect, Knockdown, Level, ThrowBreak
from advisor.pack.words import DEFAULT_GUARDS, Words, check_id
from advisor.pack.written import WrittenEffect, WrittenKnockdown, WrittenPack
from advisor.units import to_micro

__all__ = ["read_conventions", "startup_shift"]

DEFAULT_COUNTER_HIT = frozenset({"startup"})


def startup_shift(value: Any) -> int:
    """Frames to add to a written startup to get the first active frame, from ``pack.yaml``'s plain data.

    1 as well when the file cannot be read, so that no startup is called impossible for that.
    """
    counts_first = isinstance(value, dict) and value.get("startup_counts", "first_active") == "first_active"
    return 0 if counts_first else 1


def read_conventions(report: Report, written: WrittenPack, words: Words) -> Conventions:
    """The conventions of ``pack.yaml``; faults go to ``report``."""
    _check_ids(report, written)
    immune = written.blockstun.immune_to
    guards = DEFAULT_GUARDS
    if written.guards is not None:
        guards = {name: guard.posture for name, guard in written.guards.items()}
    breakable = known(written.throws.breakable_in)
    return Conventions(
        frame_rate=written.frame_rate,
        startup_counts=written.startup_counts,
        distance_unit=written.distance.unit,
        distances={name: to_micro(size) for name, size in written.distance.named.items()},
        levels=_levels(report, written, words),
        guards=dict(guards),
        same_frame={
            (mine, theirs): getattr(written.same_frame, f"{mine}_{theirs}")
            for mine in ("strike", "throw")
            for theirs in ("strike", "throw")
        },
        counter_hit=DEFAULT_COUNTER_HIT if written.counter_hit is UNSET else frozenset(written.counter_hit),
        breakable_in=frozenset(breakable) if isinstance(breakable, list) else None,
        blockstun_immune=None
        if immune is None
        else Catch(
            levels=words.check_all(report, "level", immune.levels, ("blockstun", "immune_to", "levels")),
            tags=words.check_all(report, "tag", immune.tags, ("blockstun", "immune_to", "tags")),
        ),
        throw_breaks={
            name: ThrowBreak(id=name, input=known(way.input), window=known(way.window))
            for name, way in written.throws.breaks.items()
        },
        tags={name: meaning or "" for name, meaning in written.tags.items()},
        knockdowns={name: _knockdown(report, words, name, one) for name, one in written.knockdowns.items()},
        wall_effects=_effects(report, words, "wall_effects", written.wall_effects),
        floor_effects=_effects(report, words, "floor_effects", written.floor_effects),
        none_when_absent=frozenset(written.none_when_absent),
    )


def _knockdown(report: Report, words: Words, name: str, written: str | WrittenKnockdown | None) -> Knockdown:
    if not isinstance(written, WrittenKnockdown):
        return Knockdown(id=name, meaning=written or "")
    at = ("knockdowns", name, "wake_ups")
    for number, wake_up in enumerate(written.wake_ups):
        words.check(report, "wake_up", wake_up, (*at, number))
    return Knockdown(
        id=name,
        meaning=known(written.meaning) or "",
        posture=written.posture,
        wake_ups=tuple(written.wake_ups),
    )


def _effects(report: Report, words: Words, key: str, written: dict[str, WrittenEffect]) -> dict[str, Effect]:
    if UPRIGHT in written:
        report.fault(
            "id-reserved", f"`{UPRIGHT}` cannot be an id here: it means a hit without such an effect",
            (key, UPRIGHT), key=True, help="give the effect a name of its own",
        )
    return {name: _effect(report, words, (key, name), one) for name, one in written.items()}


def _effect(report: Report, words: Words, at: tuple[str, str], written: WrittenEffect) -> Effect:
    knockdown, distance = known(written.knockdown), known(written.distance)
    if knockdown is not None and knockdown != UPRIGHT:
        words.check(report, "knockdown", knockdown, (*at, "knockdown"))
    return Effect(
        id=at[1],
        meaning=known(written.meaning) or "",
        damage=0.0 if written.damage is UNSET else known(written.damage),
        advantage=known(written.advantage),
        knockdown=knockdown,
        distance=None if distance is None else to_micro(distance),
        replaces=frozenset(
            key for key in ("advantage", "knockdown", "distance") if getattr(written, key) is not UNSET
        ),
    )


def _levels(report: Report, written: WrittenPack, words: Words) -> dict[str, Level]:
    return {
        name: Level(
            id=name,
            hits=frozenset(level.hits),
            blocked_by=words.check_all(report, "guard", level.blocked_by, ("levels", name, "blocked_by")),
            kind=level.kind,
        )
        for name, level in written.levels.items()
    }


def _check_ids(report: Report, written: WrittenPack) -> None:
    declared: list[tuple[tuple[str, ...], Iterable[str]]] = [
        (("levels",), written.levels),
        (("tags",), written.tags),
        (("knockdowns",), written.knockdowns),
        (("wall_effects",), written.wall_effects),
        (("floor_effects",), written.floor_effects),
        (("guards",), written.guards or ()),
        (("throws", "breaks"), written.throws.breaks),
        (("distance", "named"), written.distance.named),
    ]
    for path, names in declared:
        for name in names:
            check_id(report, name, (*path, name), key=True)
