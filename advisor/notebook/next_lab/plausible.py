"""Values that a missing property may have: those of the pack's own moves of the same kind.

The prior is empirical. Of numbers five quantiles (0.1, 0.3, 0.5, 0.7, 0.9) stand for all, a fifth each; of what is no
number the five most common values by their share. Moves of the same hit level are asked first, and all of the
kind when fewer than five of those have the property. Values that contradict the rest of the move (no longer active
once it is over) are left out. What the loader works out from a value (stun from advantage) is not worked
out again.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from typing import Any

import msgspec
from msgspec import Struct

from advisor.pack.model import Hit, Move, Pack
from advisor.units import FOREVER

__all__ = ["Plausible", "mean_damage", "plausible", "with_move"]

SHARES = (0.1, 0.3, 0.5, 0.7, 0.9)
LEAST = 5
"""Fewest moves of the same level that are a prior by themselves."""
HIT = {
    "tracking": ("tracks",), "active": ("active_stop",), "pushback": ("pushback_block", "pushback_hit"),
    "leaves": ("leaves_block", "leaves_hit", "leaves_counter_hit"),
    **{name: (name,) for name in (
        "first_active", "level", "reach", "tags", "breaks", "damage", "chip", "on_block", "on_hit", "on_counter_hit",
        "blockstun", "hitstun",
    )},
}  # fmt: skip
"""Fields of the first hit by the name that answers have for them."""
MOVE = (
    "total", "airborne", "crouching", "grounded", "invulnerable", "armour", "parry", "sidestep", "displacement",
    "counter_state",
)  # fmt: skip


class Plausible(Struct, frozen=True):
    """The move as it may be, and the probability (0 to 1) of that."""

    chance: float
    move: Move


def plausible(pack: Pack, move: Move, property: str) -> list[Plausible]:
    """The move with each value that its missing property may have; empty when nothing in the pack tells."""
    if property in HIT:
        if not move.hits:
            return []
        missing = [name for name in HIT[property] if getattr(move.hits[0], name) is None]
    else:
        missing = [property] if property in MOVE and getattr(move, property) is None else []
    if not missing:
        return []
    found: dict[int, float] = {}
    made: dict[int, Move] = {}
    for values, weight in _prior(pack, move, missing, property).items():
        candidate = _with(move, dict(zip(missing, values, strict=True)), property)
        if candidate is not None and _possible(candidate):
            found[len(made)] = weight
            made[len(made)] = candidate
    whole = sum(found.values())
    return [Plausible(found[i] / whole, candidate) for i, candidate in made.items()]


def mean_damage(pack: Pack, move: Move) -> float:
    """The damage that is expected of an attack whose own is not recorded; 0 when no move of the pack has one."""
    each = plausible(pack, move, "damage")
    return sum(one.chance * (one.move.hits[0].damage or 0.0) for one in each)


def with_move(pack: Pack, owner: str, move: Move) -> Pack:
    """The pack with that move in place of the one of its id; ``owner`` empty: a system or wake-up option."""
    replace = msgspec.structs.replace
    if owner:
        character = pack.characters[owner]
        character = replace(character, moves={**character.moves, move.id: move})
        return replace(pack, characters={**pack.characters, owner: character})
    name = "system" if move.id in pack.system else "wake_ups"
    return replace(pack, **{name: {**getattr(pack, name), move.id: move}})


def _prior(pack: Pack, move: Move, fields: list[str], property: str) -> Mapping[tuple[Any, ...], float]:
    """Weights of the values of the fields together."""
    like = [m for m in _all(pack) if m.kind == move.kind and bool(m.hits) == bool(move.hits)]
    level = move.hits[0].level if move.hits else None
    near = [m for m in like if level is not None and m.hits and m.hits[0].level == level]
    rows = [row for row in (_read(m, fields, property) for m in near) if row is not None]
    if len(rows) < LEAST:
        rows = [row for row in (_read(m, fields, property) for m in like) if row is not None]
    if not rows:
        return {}
    if all(isinstance(value, int | float) for row in rows for value in row):
        columns = [sorted(column) for column in zip(*rows, strict=True)]
        at = [int(share * len(rows)) for share in SHARES]
        return Counter(tuple(column[i] for column in columns) for i in at)
    return dict(Counter(rows).most_common(len(SHARES)))


def _all(pack: Pack) -> Iterable[Move]:
    for character in pack.characters.values():
        yield from character.moves.values()
    yield from pack.system.values()
    yield from pack.wake_ups.values()


def _read(move: Move, fields: list[str], property: str) -> tuple[Any, ...] | None:
    """The fields of a move that has all of them; of ``active`` the number of frames."""
    if property in HIT:
        hit = move.hits[0]
        row = tuple(getattr(hit, name) for name in fields)
        if property == "active" and None not in (hit.active_stop, hit.first_active):
            row = (_frames(hit),)
    else:
        row = tuple(getattr(move, name) for name in fields)
    if property == "total" and move.total is not None and move.total >= FOREVER:
        return None
    return None if None in row or (property == "active" and move.hits[0].first_active is None) else row


def _frames(hit: Hit) -> int:
    assert hit.active_stop is not None and hit.first_active is not None
    return hit.active_stop - hit.first_active


def _with(move: Move, values: dict[str, Any], property: str) -> Move | None:
    if property not in HIT:
        return msgspec.structs.replace(move, **values)
    first = move.hits[0]
    if property == "active":
        if first.first_active is None:
            return None
        values = {"active_stop": first.first_active + values["active_stop"]}
    return msgspec.structs.replace(move, hits=(msgspec.structs.replace(first, **values), *move.hits[1:]))


def _possible(move: Move) -> bool:
    """The hits follow each other and the move lasts until the last of them is over, as far as that is known."""
    last = 0
    for hit in move.hits:
        if hit.first_active is not None:
            if hit.first_active <= last:
                return False
            last = hit.first_active
        if hit.active_stop is not None:
            if hit.active_stop <= last:
                return False
            last = hit.active_stop - 1
    return move.total is None or move.total >= last
