"""Filtering and sorting a character's moves by property."""

from __future__ import annotations

from msgspec import Struct

from advisor.errors import QuestionError, did_you_mean
from advisor.pack.model import Pack
from advisor.service.wire import MoveInfo

__all__ = ["SORTABLE", "Filter", "pick"]

SORTABLE = (
    "id", "name", "kind", "level", "first_active", "total", "damage", "on_block", "on_hit",
    "on_counter_hit", "reach",
)


class Filter(Struct, kw_only=True):
    """What to keep; None keeps all. A move whose property is unknown never meets a bound on it."""

    q: str | None = None
    kind: str | None = None
    level: str | None = None
    tag: str | None = None
    first_active_max: int | None = None
    on_block_min: int | None = None
    on_block_max: int | None = None
    damage_min: float | None = None
    reach_min: float | None = None
    unknown: str | None = None
    sort: str | None = None

    def keeps(self, move: MoveInfo) -> bool:
        """Whether the move meets every bound."""
        words = (
            (self.kind, move.kind),
            (self.level, move.level),
        )
        if any(want is not None and want != have for want, have in words):
            return False
        if self.tag is not None and self.tag not in move.tags:
            return False
        text = f"{move.id} {move.name} {move.input or ''}".lower()
        if self.q is not None and self.q.lower() not in text:
            return False
        if self.unknown is not None and getattr(move, self.unknown) is not None:
            return False
        return (
            _at_most(move.first_active, self.first_active_max)
            and _at_least(move.on_block, self.on_block_min)
            and _at_most(move.on_block, self.on_block_max)
            and _at_least(move.damage, self.damage_min)
            and _at_least(move.reach, self.reach_min)
        )


def _at_most(value: float | None, bound: float | None) -> bool:
    return bound is None or (value is not None and value <= bound)


def _at_least(value: float | None, bound: float | None) -> bool:
    return bound is None or (value is not None and value >= bound)


def pick(pack: Pack, moves: list[MoveInfo], wanted: Filter) -> list[MoveInfo]:
    """The moves that meet the filter, in its order; unknown values come last either way.

    Errors: ``QuestionError`` for a level, tag or property that does not exist.
    """
    for name, word, known in (
        ("level", wanted.level, pack.conventions.levels),
        ("tag", wanted.tag, pack.conventions.tags),
        ("unknown", wanted.unknown, dict.fromkeys(SORTABLE)),
        ("sort", (wanted.sort or "").lstrip("-") or None, dict.fromkeys(SORTABLE)),
    ):
        if word is not None and word not in known:
            raise QuestionError(
                "value-invalid",
                f"`{name}` is `{word}`",
                help=did_you_mean(word, known) or f"one of {', '.join(known)}",
            )
    kept = [m for m in moves if wanted.keeps(m)]
    if wanted.sort:
        key = wanted.sort.lstrip("-")
        down = wanted.sort.startswith("-")
        have = [m for m in kept if getattr(m, key) is not None]
        lack = [m for m in kept if getattr(m, key) is None]
        kept = sorted(have, key=lambda m: getattr(m, key), reverse=down) + lack
    return kept
