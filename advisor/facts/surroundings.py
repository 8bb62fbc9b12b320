"""What walls and floors make of a hit: damage, advantage, knockdown and distance, three-valued.

Whether a wall is near, whether the floor breaks and which effect a hit has may each be unknown; every
way in which it can end is worked out, and a result is known where all of them agree.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TypeVar

import msgspec
from msgspec import Struct

from advisor.pack.model import UPRIGHT, Conventions, Effect, Leaves

__all__ = ["Around", "Landing", "Way", "landing_of"]

T = TypeVar("T")


class Around(Struct, frozen=True, kw_only=True):
    """Where the struck side stands: near a wall, on a floor that breaks; None: unknown."""

    wall: bool | None = None
    floor: bool | None = None


class Way(Struct, frozen=True, kw_only=True):
    """One way in which a hit can end.

    ``damage`` in points holds what wall and floor add, ``added`` is that part alone. ``advantage`` is the
    striker's, for contact on the first active frame; ``distance`` between the two in micro-units;
    ``wall`` and ``floor`` are the ids of the effects that happen, ``UPRIGHT`` for none.
    """

    damage: float | None
    advantage: int | None
    knockdown: str | None
    distance: int | None
    added: float | None = 0.0
    wall: str | None = UPRIGHT
    floor: str | None = UPRIGHT


class Landing(Struct, frozen=True, kw_only=True):
    """All the ways in which a hit can end.

    ``asks`` holds wall and floor where the hit has such an effect (or may have), so that the surroundings
    matter; ``unsaid`` those of them that nobody has told. ``unread`` are those whose effect is not recorded.
    """

    ways: tuple[Way, ...]
    asks: frozenset[str] = frozenset()
    unsaid: frozenset[str] = frozenset()
    unread: frozenset[str] = frozenset()

    @property
    def sure(self) -> Way:
        """The values on which all ways agree; None where they differ."""
        if len(self.ways) == 1:
            return self.ways[0]
        return Way(**{name: _same(getattr(way, name) for way in self.ways) for name in Way.__struct_fields__})

    def takes(self, health: float | None) -> bool | None:
        """Whether the damage is all of ``health`` points; None when that is unknown."""
        if health is None:
            return None
        return _same(None if way.damage is None else 0 < way.damage >= health for way in self.ways)


def landing_of(conventions: Conventions, around: Around, leaves: Leaves | None, plain: Way) -> Landing:
    """How a hit can end that ends ``plain`` away from walls and on firm ground.

    Formula: damage is that of the hit plus that of each effect; advantage, knockdown and distance are the
    last of hit, wall effect and floor effect that states them.
    """
    walls, wall_unread = _possible(conventions.wall_effects, None if leaves is None else leaves.wall)
    floors, floor_unread = _possible(conventions.floor_effects, None if leaves is None else leaves.floor)
    if not walls and not floors:
        return Landing(ways=(plain,))
    asks = frozenset(name for name, found in (("wall", walls), ("floor", floors)) if found)
    near = {"wall": around.wall, "floor": around.floor}
    unread = {name for name, yes in (("wall", wall_unread), ("floor", floor_unread)) if yes}
    ways = tuple(
        _floored(_walled(plain, wall), floor)
        for wall in _happens(walls, around.wall, wall_unread)
        for floor in _happens(floors, around.floor, floor_unread)
    )
    return Landing(
        ways=ways,
        asks=asks,
        unsaid=frozenset(name for name in asks if near[name] is None),
        unread=frozenset(name for name in unread if near[name] is not False),
    )


def _possible(effects: Mapping[str, Effect], stated: str | None) -> tuple[list[Effect], bool]:
    """The effects that a hit may have, and whether which it has is unknown."""
    if not effects or stated == UPRIGHT:
        return [], False
    return (list(effects.values()), True) if stated is None else ([effects[stated]], False)


def _happens(effects: list[Effect], near: bool | None, unread: bool) -> list[Effect | None]:
    if not effects or near is False:
        return [None]
    return [*effects] if near and not unread else [None, *effects]


def _walled(way: Way, effect: Effect | None) -> Way:
    return way if effect is None else msgspec.structs.replace(_changed(way, effect), wall=effect.id)


def _floored(way: Way, effect: Effect | None) -> Way:
    return way if effect is None else msgspec.structs.replace(_changed(way, effect), floor=effect.id)


def _changed(way: Way, effect: Effect) -> Way:
    more = effect.damage
    return msgspec.structs.replace(
        way,
        damage=None if way.damage is None or more is None else way.damage + more,
        added=None if way.added is None or more is None else way.added + more,
        **{name: getattr(effect, name) for name in effect.replaces},
    )


def _same(values: Iterable[T]) -> T | None:
    first, *others = values
    return first if all(value == first for value in others) else None
