"""The properties of a move that one cell can carry, and what a cell of each may say.

These are the keys of a move with one hit. ``pushback_block`` and ``pushback_hit`` are the two keys
of the block ``pushback``. Windows, follow-ups, requirements and several hits have no place in a cell.
"""

from __future__ import annotations

from msgspec import Struct

from advisor.pack.written_move import MAX_FRAME

__all__ = ["DISTANCES", "NUMERIC", "PROPERTIES", "PUSHBACK_PARTS", "RANK", "Property"]


class Property(Struct, frozen=True, kw_only=True):
    """One property: its ``sort``, the bounds of its numbers, and what else it may be.

    ``sort`` is ``text``, ``word`` (one word), ``list`` (several words), ``count`` (whole frames or
    points, 0 or more), ``signed`` (frames of advantage) or ``amount`` (a decimal number).
    ``words`` are the fixed words it takes; ``declared`` names the list of the pack that has others.
    ``may_be_none``: whether a move can be known to have none of it.
    """

    sort: str
    low: float = 0
    high: float = MAX_FRAME
    words: tuple[str, ...] = ()
    declared: str = ""
    may_be_none: bool = False
    longest: int = 400


PROPERTIES: dict[str, Property] = {
    "id": Property(sort="text", longest=64),
    "name": Property(sort="text", longest=80),
    "input": Property(sort="text"),
    "kind": Property(sort="word", words=("attack", "parry", "movement", "guard")),
    "level": Property(sort="word", declared="level"),
    "startup": Property(sort="count"),
    "active": Property(sort="count", low=1),
    "recovery": Property(sort="count"),
    "total": Property(sort="count", low=1, words=("held",)),
    "damage": Property(sort="amount", high=100_000),
    "chip": Property(sort="amount", high=100_000),
    "on_block": Property(sort="signed", low=-MAX_FRAME),
    "on_hit": Property(sort="signed", low=-MAX_FRAME),
    "on_counter_hit": Property(sort="signed", low=-MAX_FRAME),
    "blockstun": Property(sort="count"),
    "hitstun": Property(sort="count"),
    "reach": Property(sort="amount", high=1000, declared="distance"),
    "pushback": Property(sort="amount", low=-1000, high=1000),
    "pushback_block": Property(sort="amount", low=-1000, high=1000),
    "pushback_hit": Property(sort="amount", low=-1000, high=1000),
    "tracking": Property(sort="word", words=("left", "right", "both"), may_be_none=True),
    "breaks": Property(sort="list", declared="break", may_be_none=True),
    "tags": Property(sort="list", declared="tag", may_be_none=True),
    "cost": Property(sort="count", may_be_none=True),
    "note": Property(sort="text", longest=4000),
    "source": Property(sort="text"),
}

NUMERIC = frozenset({"count", "signed", "amount"})
"""Sorts whose columns must name the forms in which their numbers are written."""

DISTANCES = frozenset({"reach", "pushback", "pushback_block", "pushback_hit"})
"""Properties that ``distance_factor`` multiplies."""

PUSHBACK_PARTS = {"pushback_block": "block", "pushback_hit": "hit"}

RANK = {
    key: at
    for at, key in enumerate(dict.fromkeys("pushback" if key in PUSHBACK_PARTS else key for key in PROPERTIES))
}
"""Order in which the keys of a move are written."""
