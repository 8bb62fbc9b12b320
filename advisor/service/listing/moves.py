"""Filtering and sorting a character's moves by property: the bounds, how they are read, and the picking."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Annotated, Literal, get_args

import msgspec
from msgspec import UNSET, Meta, Struct, UnsetType

from advisor.errors import did_you_mean
from advisor.pack.model import Pack
from advisor.service.asking.queries import read_query
from advisor.service.asking.reading import Words
from advisor.service.problems import ParameterError
from advisor.service.wire import MoveInfo

__all__ = ["SORTABLE", "Filter", "pick", "read_filter"]

Property = Literal[
    "id", "name", "kind", "level", "first_active", "total", "damage", "on_block", "on_hit", "on_counter_hit", "reach"
]
Order = Literal[
    Property,
    "-id", "-name", "-kind", "-level", "-first_active", "-total", "-damage", "-on_block", "-on_hit", "-on_counter_hit",
    "-reach",
]
SORTABLE: tuple[str, ...] = get_args(Property)
"""Properties to sort by."""

Kind = Literal["attack", "parry", "movement", "guard"]
Frames = Annotated[int, Meta(ge=-1000, le=1000)]
Amount = Annotated[float, Meta(ge=0, le=100_000)]
Word = Annotated[str, Meta(min_length=1, max_length=80)]


class Filter(Struct, kw_only=True, forbid_unknown_fields=True):
    """What to keep and in which order; what is left out keeps all.

    A move whose property is unknown never meets a bound on it.
    """

    q: Annotated[Word | UnsetType, Meta(description="Text in id, name or input; case does not matter.")] = UNSET
    kind: Annotated[Kind | UnsetType, Meta(description="What it is.")] = UNSET
    level: Annotated[Word | UnsetType, Meta(description="A hit level of the pack.")] = UNSET
    tag: Annotated[Word | UnsetType, Meta(description="A tag of the pack.")] = UNSET
    first_active_max: Annotated[Frames | UnsetType, Meta(description="Touches on this frame or before.")] = UNSET
    on_block_min: Annotated[Frames | UnsetType, Meta(description="This advantage on block or more.")] = UNSET
    on_block_max: Annotated[Frames | UnsetType, Meta(description="This advantage on block or less.")] = UNSET
    damage_min: Annotated[Amount | UnsetType, Meta(description="This damage or more, in points.")] = UNSET
    reach_min: Annotated[Amount | UnsetType, Meta(description="This reach or more, in the pack's unit.")] = UNSET
    unknown: Annotated[Property | UnsetType, Meta(description="Only moves of which this property is unknown.")] = UNSET
    sort: Annotated[Order | UnsetType, Meta(description="A property; `-` in front: largest first.")] = UNSET
    limit: Annotated[int, Meta(ge=1, le=400, description="How many to list.")] = 100
    offset: Annotated[int, Meta(ge=0, le=10_000, description="How many to leave out before the first.")] = 0

    def keeps(self, move: MoveInfo) -> bool:
        """Whether the move meets every bound."""
        text = f"{move.id} {move.name} {move.input or ''}".lower()
        return (
            self.kind in (UNSET, move.kind)
            and self.level in (UNSET, move.level)
            and (self.tag is UNSET or self.tag in move.tags)
            and (self.q is UNSET or self.q.lower() in text)
            and (self.unknown is UNSET or getattr(move, self.unknown) is None)
            and _at_most(move.first_active, self.first_active_max)
            and _at_least(move.on_block, self.on_block_min)
            and _at_most(move.on_block, self.on_block_max)
            and _at_least(move.damage, self.damage_min)
            and _at_least(move.reach, self.reach_min)
        )


def _at_most(value: float | None, bound: float | UnsetType) -> bool:
    return bound is UNSET or (value is not None and value <= bound)


def _at_least(value: float | None, bound: float | UnsetType) -> bool:
    return bound is UNSET or (value is not None and value >= bound)


def read_filter(given: Iterable[tuple[str, str]]) -> Filter:
    """The filter that query parameters spell. Errors: as ``read_query``."""
    return read_query(Filter, given, _words)


def _words(pointer: str, _: object) -> Words:
    return _WORDS.get(pointer, Words())


_WORDS = {
    "": Words(tuple(f.name for f in msgspec.structs.fields(Filter)), fields=True),
    "/kind": Words(get_args(Kind)),
    "/unknown": Words(SORTABLE),
    "/sort": Words(SORTABLE),
}


def pick(pack: Pack, moves: list[MoveInfo], wanted: Filter) -> list[MoveInfo]:
    """The moves that meet the filter, in its order; unknown values come last either way.

    The page (``limit``, ``offset``) is the caller's business.
    Errors: ``ParameterError`` for a level or tag that the pack does not have.
    """
    for name, word, known in (
        ("level", wanted.level, pack.conventions.levels),
        ("tag", wanted.tag, pack.conventions.tags),
    ):
        if word is not UNSET and word not in known:
            raise ParameterError(
                "value-invalid",
                f"pack `{pack.id}` has no {name} `{word}`",
                name=name,
                help=did_you_mean(word, known) or f"one of {', '.join(known)}",
            )
    kept = [m for m in moves if wanted.keeps(m)]
    if wanted.sort is not UNSET:
        key = wanted.sort.removeprefix("-")
        have = [m for m in kept if getattr(m, key) is not None]
        lack = [m for m in kept if getattr(m, key) is None]
        kept = sorted(have, key=lambda m: getattr(m, key), reverse=wanted.sort.startswith("-")) + lack
    return kept
