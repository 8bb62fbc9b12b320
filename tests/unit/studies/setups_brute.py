"""Setups found the dumb way: every sequence is laid out as one long option and walked frame by frame."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import product
from typing import Any, NamedTuple

from msgspec.structs import replace

from advisor.pack.model import Conventions, Displacement, Move
from advisor.units import Span
from tests.oracle.frame_walk import Body, walk

__all__ = ["Laid", "Scene", "gets", "lay", "setups_by_hand", "width_by_hand"]

WINDOWS = ("invulnerable", "armour", "parry", "guard", "sidestep", "displacement")
POSTURES = ("airborne", "crouching", "grounded")


class Scene(NamedTuple):
    """The conventions, their replies, the frames before these begin, the distance, the most frames to use up."""

    conventions: Conventions
    replies: Sequence[Move]
    frames: int
    distance: int
    most: int


class Laid(NamedTuple):
    """One long option, the frames before its last part, and the distance when that part begins."""

    move: Move
    used: int
    distance: int


def lay(sequence: Sequence[Move], distance: int) -> Laid:
    """One option after the other; who would pass through the other stops at a distance of 0."""
    parts: dict[str, list[Any]] = {name: [] for name in (*WINDOWS, *POSTURES, "hits")}
    used = total = 0
    for i, move in enumerate(sequence):
        used = total
        _add(parts, move, used)
        assert move.total is not None
        total += move.total
        if i + 1 < len(sequence):
            gone = sum(w.step * len(w.span) for w in move.displacement or ())
            if distance < gone:
                parts["displacement"].append(Displacement(span=Span(total, total + 1), step=distance - gone))
            distance = max(0, distance - gone)
    whole = {name: tuple(found) for name, found in parts.items()}
    last = sequence[-1]
    return Laid(
        Move(id="laid", name="laid", kind=last.kind, total=total, counter_state=(), **whole), used, distance
    )


def _add(parts: dict[str, list[Any]], move: Move, used: int) -> None:
    for name in WINDOWS:
        parts[name] += [replace(w, span=w.span.shifted(used)) for w in getattr(move, name) or ()]
    for name in POSTURES:
        parts[name] += [span.shifted(used) for span in getattr(move, name) or ()]
    for hit in move.hits:
        assert hit.first_active is not None and hit.active_stop is not None
        parts["hits"].append(replace(hit, first_active=hit.first_active + used, active_stop=hit.active_stop + used))


def gets(scene: Scene, option: Move, reply: Move, distance: int, *, after: int, delay: int = 0) -> bool:
    """Whether the option hits or catches, later than frame ``after`` and while the reply runs."""
    them = Body(reply, free_at=scene.frames, held="knockdown")
    found = walk(scene.conventions, Body(option, delay=delay), them, distance)
    assert reply.total is not None
    if found.frame is None or any(frame <= after for _, frame in found.armoured):
        return False
    if not max(after, scene.frames) < found.frame <= scene.frames + reply.total:
        return False
    return (found.by == "me" and found.effect in ("hit", "counter_hit")) or (
        found.by == "them" and found.effect == "parried"
    )


def setups_by_hand(
    scene: Scene, fillers: Sequence[Move], lasts: Sequence[Move], length: int
) -> Iterator[tuple[tuple[str, ...], frozenset[str]]]:
    """Every sequence up to a length that covers something, with the replies that it covers."""
    for before in range(length):
        for sequence in product(*[fillers] * before, lasts):
            laid = lay(sequence, scene.distance)
            if laid.used > scene.most:
                continue
            covered = frozenset(
                reply.id
                for reply in scene.replies
                if gets(scene, laid.move, reply, scene.distance, after=laid.used)
            )
            if covered:
                yield tuple(move.id for move in sequence), covered


def width_by_hand(scene: Scene, last: Move, covered: frozenset[str], used: int, distance: int) -> int:
    """The run of totals around ``used`` over which the last option, begun that late, gets all of them."""

    def holds(n: int) -> bool:
        return n == used or all(
            gets(scene, last, reply, distance, after=0, delay=n) for reply in scene.replies if reply.id in covered
        )

    first = stop = used
    while first > 0 and holds(first - 1):
        first -= 1
    while stop <= scene.most and holds(stop):
        stop += 1
    return stop - first
