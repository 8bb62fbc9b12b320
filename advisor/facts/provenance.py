"""Where a fact comes from: the properties of which move, and what the question said, with their values."""

from __future__ import annotations

from typing import Any

from msgspec import Struct

from advisor.facts.records import Pair
from advisor.facts.situation import Situation
from advisor.facts.sources import SOURCES, WINDOWS
from advisor.pack.model import Move
from advisor.sentences import in_words
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
        value = in_words("unknown") if self.value is None else self.value
        return f"{where} = {value}" + (f" ({self.formula})" if self.formula else "")


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
    names = {*_HIT_FIELDS, *WINDOWS} - {"pushback_hit"}
    found = frozenset(n for n in names if _property("", move, n, True) is not None)
    if move.hits and move.hits[0].pushback_hit is None:
        found |= {"pushback"}
    found |= {"arrives", "leaves"}
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
        return _stood(name, pair, situation) if name in _PLACES else [_asked(name, situation)]
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
    if name == "leaves" and pair.outcome is not None and role in pair.outcome.unread:
        return [Source(who=role, move=entry.move.id, property="leaves", value=None)]
    found = _property(role, entry.move, name, unknown_only)
    return [found] if found else []


_PLACES = {"wall_near_them": "me.near_wall", "wall_near_me": "them.near_wall", "floor": "floor_breaks"}


def _stood(name: str, pair: Pair, situation: Situation) -> list[Source]:
    """Wall or floor as the question has it, where the deciding hit has an effect there."""
    field = _PLACES[name]
    hangs = situation.hangs if pair.outcome is None else situation.hangs | pair.outcome.hangs
    if field not in hangs:
        return []
    around = situation.around_me if name == "wall_near_me" else situation.around_them
    return [Source(who="question", move="", property=field, value=around.floor if name == "floor" else around.wall)]


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
        and not m.cost
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
        if value is None and name in ("requires", "cost"):
            return None
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
        return in_words("held") if value >= FOREVER else int(value)
    if isinstance(value, frozenset):
        return ", ".join(sorted(value)) or in_words("none")
    if isinstance(value, tuple):
        return ", ".join((w if isinstance(w, Span) else w.span).shown() for w in value)
    if isinstance(value, int | float | str | bool):
        return value
    return in_words("yes")
