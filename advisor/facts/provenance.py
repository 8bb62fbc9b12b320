"""Where a fact comes from: the properties of which move, and what the question said.

``SOURCES`` names, for every fact of the vocabulary, the properties that can change it; roles are
``mine`` and ``theirs`` (the two options), ``moment`` (the move that just happened), ``question``,
``me`` and ``them`` (the characters). A test changes properties at random and fails when a fact
moves that does not name the property.
"""

from __future__ import annotations

from typing import Any

from msgspec import Struct

from advisor.facts.records import Pair
from advisor.facts.situation import Situation
from advisor.pack.model import Move
from advisor.units import FOREVER, Span, from_micro

__all__ = ["SOURCES", "Source", "sources_of", "unknown_among"]


class Source(Struct, frozen=True, kw_only=True):
    """One property behind a fact: whose (mine, theirs, moment, question, me, them), which move, its value.

    ``value`` is None when the property is not recorded; ``formula`` says how it was worked out
    when the pack does not state it.
    """

    who: str
    move: str
    property: str
    value: float | int | str | bool | None
    formula: str = ""

    def shown(self) -> str:
        where = f"{self.move}: {self.property}" if self.move else self.property
        value = "unknown" if self.value is None else self.value
        return f"{where} = {value}" + (f" ({self.formula})" if self.formula else "")


_WINDOWS = (
    "first_active",
    "active",
    "level",
    "reach",
    "tags",
    "tracking",
    "total",
    "airborne",
    "crouching",
    "grounded",
    "invulnerable",
    "armour",
    "parry",
    "guard",
    "sidestep",
    "displacement",
    "counter_state",
)
_BOTH = (
    *(f"mine.{p}" for p in _WINDOWS),
    "mine.breaks",
    "mine.arrives",
    *(f"theirs.{p}" for p in _WINDOWS),
    "theirs.breaks",
    "theirs.arrives",
    "moment.lead",
    "moment.stun",
    "moment.total",
    "moment.airborne",
    "moment.crouching",
    "moment.invulnerable",
    "moment.first_active",
    "moment.pushback",
    "moment.leaves",
    "moment.reach",
    "question.distance",
)
_CLOCK = (
    "moment.lead",
    "moment.stun",
    "moment.first_active",
    "moment.leaves",
    "mine.arrives",
    "theirs.arrives",
    "mine.first_active",
    "theirs.first_active",
)
_PLACE = ("question.distance", "moment.pushback", "moment.leaves", "moment.reach")
_AFTER = tuple(
    f"{role}.{p}"
    for role in ("mine", "theirs")
    for p in ("damage", "chip", "on_block", "on_hit", "on_counter_hit", "pushback", "leaves")
)
_OUTCOME = (*_BOTH, *_AFTER)
_PUNISH = (*_OUTCOME, "me.attacks", "them.attacks")


def _of(role: str) -> dict[str, tuple[str, ...]]:
    contact = (f"{role}.first_active", f"{role}.arrives", "moment.lead", "moment.stun")
    return {
        f"{role}.option": (),
        f"{role}.name": (),
        f"{role}.kind": (),
        f"{role}.is_follow_up": (),
        f"{role}.is_held": (f"{role}.total",),
        f"{role}.level": (f"{role}.level",),
        f"{role}.strike_kind": (f"{role}.level",),
        f"{role}.tags": (f"{role}.tags",),
        f"{role}.first_active": (f"{role}.first_active",),
        f"{role}.contact_frame": (*contact, *_CLOCK),
        f"{role}.damage": (f"{role}.damage",),
        f"{role}.reach": (f"{role}.reach",),
        f"{role}.on_block": (f"{role}.on_block",),
    }


SOURCES: dict[str, tuple[str, ...]] = {
    "situation.moment": (),
    "situation.attacker": (),
    "situation.move": (),
    "situation.move_name": (),
    "situation.advantage": ("moment.lead",),
    "situation.they_are": ("moment.lead", "moment.leaves"),
    "situation.i_am": ("moment.lead", "moment.leaves"),
    "situation.distance": _PLACE,
    "situation.my_health": ("question.my_health",),
    "situation.their_health": ("question.their_health",),
    "situation.their_fastest": ("them.attacks",),
    "situation.my_fastest": ("me.attacks",),
    "situation.knockdown": ("moment.leaves",),
    **_of("mine"),
    **_of("theirs"),
    "mine.parry_from": ("mine.parry", *_CLOCK),
    "mine.parry_to": ("mine.parry", *_CLOCK),
    "mine.can_be_broken": ("mine.breaks",),
    **{
        f"exchange.{name}": _BOTH
        for name in (
            "by",
            "effect",
            "frame",
            "posture",
            "phase",
            "breakable",
            "i_absorb",
            "they_absorb",
            "my_miss",
            "their_miss",
            "near_effect",
            "near_frame",
            "near_breakable",
        )
    },
    **{
        f"exchange.{name}": _CLOCK
        for name in (
            "held_until",
            "they_are",
            "i_am_held_until",
            "i_am",
            "frames_to_spare",
            "frame_lead",
            "they_act_from",
        )
    },
    "exchange.distance": _PLACE,
    "exchange.reach_margin": ("mine.reach", "mine.displacement", "theirs.displacement", *_CLOCK, *_PLACE),
    "exchange.reaches": ("mine.reach", "mine.displacement", "theirs.displacement", "moment.reach", *_CLOCK, *_PLACE),
    "exchange.lands_within": ("mine.reach", "mine.displacement", "theirs.displacement", *_CLOCK, *_PLACE),
    "exchange.their_reach_margin": ("theirs.reach", "mine.displacement", "theirs.displacement", *_CLOCK, *_PLACE),
    "exchange.they_reach": (
        "theirs.reach",
        "mine.displacement",
        "theirs.displacement",
        "moment.reach",
        *_CLOCK,
        *_PLACE,
    ),
    "exchange.my_posture_at_theirs": (
        *(f"mine.{p}" for p in _WINDOWS),
        "moment.airborne",
        "moment.crouching",
        "moment.total",
        "moment.first_active",
        *_CLOCK,
    ),
    "exchange.their_posture_at_mine": (
        *(f"theirs.{p}" for p in _WINDOWS),
        "moment.airborne",
        "moment.crouching",
        "moment.total",
        "moment.first_active",
        *_CLOCK,
    ),
    "exchange.gap": ("mine.arrives", "theirs.arrives", "moment.stun"),
    "exchange.arrives": ("mine.arrives", "theirs.arrives"),
    "exchange.parry_timing": ("mine.parry", *_CLOCK),
    "exchange.parry_catches": ("mine.parry", "theirs.level", "theirs.tags"),
    "exchange.catch_name": (*_OUTCOME,),
    "exchange.damage_dealt": _OUTCOME,
    "exchange.damage_taken": _OUTCOME,
    "exchange.advantage_after": _OUTCOME,
    "exchange.distance_after": _OUTCOME,
    "exchange.knockdown_after": _OUTCOME,
    "exchange.their_punish": _PUNISH,
    "exchange.they_can_punish": _PUNISH,
    "exchange.my_punish": _PUNISH,
    "exchange.i_can_punish": _PUNISH,
}


def sources_of(fact: str, pair: Pair, situation: Situation) -> list[Source]:
    """The properties behind a fact of this pair, empty windows and unused ones left out."""
    return [
        source
        for role, name in _PATHS.get(fact, ())
        for source in _look(role, name, pair, situation, unknown_only=False)
    ]


def unknown_among(fact: str, pair: Pair, situation: Situation) -> list[Source]:
    """The properties behind a fact that are not recorded."""
    mine, theirs, rest = _SPLIT.get(fact, (frozenset(), frozenset(), ()))
    paths = [
        *(("mine", name) for name in sorted(mine & blanks(pair.mine.move))),
        *(("theirs", name) for name in sorted(theirs & blanks(pair.theirs.move))),
        *rest,
    ]
    return [
        source
        for role, name in paths
        for source in _look(role, name, pair, situation, unknown_only=True)
        if source.value is None
    ]


_BLANKS: dict[int, tuple[Move, frozenset[str]]] = {}
_KEEP = 50_000


def blanks(move: Move) -> frozenset[str]:
    """Names of the properties of a move that are not recorded; kept by its identity."""
    kept = _BLANKS.get(id(move))
    if kept is not None and kept[0] is move:
        return kept[1]
    if len(_BLANKS) >= _KEEP:
        _BLANKS.clear()
    names = {*_HIT_FIELDS, *_WINDOWS} - {"pushback_hit"}
    found = frozenset(n for n in names if _property("", move, n, True) is not None)
    if move.hits and move.hits[0].pushback_hit is None:
        found |= {"pushback"}
    found |= {"arrives"}
    _BLANKS[id(move)] = (move, found)
    return found


_PATHS: dict[str, tuple[tuple[str, str], ...]] = {
    fact: tuple((path.partition(".")[0], path.partition(".")[2]) for path in paths) for fact, paths in SOURCES.items()
}


_SPLIT = {
    fact: (
        frozenset(name for role, name in paths if role == "mine"),
        frozenset(name for role, name in paths if role == "theirs"),
        tuple((role, name) for role, name in paths if role not in ("mine", "theirs")),
    )
    for fact, paths in _PATHS.items()
}


def _look(role: str, name: str, pair: Pair, situation: Situation, *, unknown_only: bool) -> list[Source]:
    if role == "question":
        return [_asked(name, situation)]
    if role in ("me", "them"):
        return _attacks(role, pair, situation)
    if role == "moment":
        found = _moment(name, situation, unknown_only)
        return [found] if found else []
    entry = pair.mine if role == "mine" else pair.theirs
    if name == "arrives":
        if not entry.follows:
            return []
        return [Source(who=role, move=entry.move.id, property="arrives", value=entry.arrives)]
    if name == "pushback" and (pair.exchange is None or pair.exchange.effect != "blocked"):
        name = "pushback_hit"
    found = _property(role, entry.move, name, unknown_only)
    return [found] if found else []


def _asked(name: str, situation: Situation) -> Source:
    value: Any = {
        "distance": None if situation.distance is None else from_micro(situation.distance),
        "my_health": situation.my_health,
        "their_health": situation.their_health,
    }[name]
    label = {"distance": "distance", "my_health": "my health", "their_health": "their health"}[name]
    return Source(who="question", move="", property=label, value=value)


def _attacks(role: str, pair: Pair, situation: Situation) -> list[Source]:
    """The attacks of unknown reach that would be fast enough to punish what the exchange leaves."""
    lead = pair.outcome.advantage if pair.outcome else None
    if lead is None or (lead > 0) != (role == "me"):
        return []
    character = situation.me if role == "me" else situation.them
    return [
        Source(who=role, move=m.id, property="reach", value=None)
        for m in character.moves.values()
        if m.hits
        and m.requires is None
        and m.hits[0].reach is None
        and m.hits[0].first_active is not None
        and m.hits[0].first_active <= abs(lead)
    ]


def _moment(name: str, situation: Situation, unknown_only: bool) -> Source | None:
    move = situation.move
    if move is None:
        return None
    lead = {"blocked": "on_block", "hit": "on_hit", "counter_hit": "on_counter_hit", "whiffed": "total"}
    stun = {"blocked": "blockstun", "hit": "hitstun", "counter_hit": "hitstun"}
    if name == "lead":
        name = lead[situation.moment]
    elif name == "stun":
        if situation.moment not in stun or situation.contact is None:
            return None
        name = stun[situation.moment]
    elif name == "pushback" and situation.moment != "blocked":
        name = "pushback_hit"
    return _property("moment", move, name, unknown_only)


_HIT_FIELDS = {
    "first_active": "first_active",
    "active": "active_stop",
    "level": "level",
    "reach": "reach",
    "tags": "tags",
    "tracking": "tracks",
    "breaks": "breaks",
    "damage": "damage",
    "chip": "chip",
    "on_block": "on_block",
    "on_hit": "on_hit",
    "on_counter_hit": "on_counter_hit",
    "blockstun": "blockstun",
    "hitstun": "hitstun",
    "pushback": "pushback_block",
    "pushback_hit": "pushback_hit",
    "leaves": "leaves_hit",
}


def _property(role: str, move: Move, name: str, unknown_only: bool) -> Source | None:
    """One property of a move as it is shown; None when it does not apply or is an empty window."""
    field = _HIT_FIELDS.get(name)
    if field is not None:
        if not move.hits:
            return None
        value = getattr(move.hits[0], field)
        if value is None and name in ("breaks", "leaves", "chip"):
            return None
        key = f"hits[0].{field}"
    else:
        value, key = getattr(move, name), name
        if value == () or (name == "guard" and not value):
            return None
    if unknown_only and value is not None:
        return None
    shown = _show(name, value, move)
    return Source(
        who=role,
        move=move.id,
        property=name.removesuffix("_hit") if name == "pushback_hit" else name,
        value=shown,
        formula=move.derived.get(key, ""),
    )


def _show(name: str, value: Any, move: Move) -> float | int | str | bool | None:
    if value is None:
        return None
    if name in ("reach", "pushback", "pushback_hit"):
        return from_micro(value)
    if name == "active":
        first = move.hits[0].first_active
        return Span(first or 0, value).shown()
    if name == "total":
        return "held" if value >= FOREVER else int(value)
    if isinstance(value, frozenset):
        return ", ".join(sorted(value)) or "none"
    if isinstance(value, tuple):
        return ", ".join((w if isinstance(w, Span) else w.span).shown() for w in value)
    if isinstance(value, int | float | str | bool):
        return value
    return "yes"
