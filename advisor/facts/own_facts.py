"""Facts that hang on one option alone: what it is, what it asks of its user, how its throw is broken."""

from __future__ import annotations

from advisor.pack.model import Conventions, Move, Requires
from advisor.sentences import in_words, say, spoken
from advisor.units import FOREVER, from_micro

__all__ = ["Record", "Value", "own_facts", "put"]

Value = int | float | bool | str | frozenset[str]
Record = dict[str, Value]


def put(record: Record, name: str, value: Value | None) -> None:
    """Into the record, unless it is unknown."""
    if value is not None:
        record[name] = value


_OWN: dict[tuple[int, str, str], tuple[Move, Conventions, Record]] = {}
_KEEP = 50_000


def own_facts(move: Move, role: str, conventions: Conventions) -> Record:
    """The facts that hang on the move alone; kept by the identity of move and conventions, and the language."""
    key = id(move), role, spoken()
    kept = _OWN.get(key)
    if kept is not None and kept[0] is move and kept[1] is conventions:
        return kept[2]
    if len(_OWN) >= _KEEP:
        _OWN.clear()
    record = _work_out(move, role, conventions)
    _OWN[key] = (move, conventions, record)
    return record


def _work_out(move: Move, role: str, conventions: Conventions) -> Record:
    record: Record = {
        f"{role}.option": move.id,
        f"{role}.name": move.name,
        f"{role}.kind": move.kind,
    }
    put(record, f"{role}.is_held", None if move.total is None else move.total >= FOREVER)
    if role == "mine":
        _asked_for(record, move)
    if not move.hits:
        record[f"{role}.tags"] = move.tags
        return record
    hit = move.hits[0]
    level = conventions.levels.get(hit.level) if hit.level is not None else None
    put(record, f"{role}.level", hit.level)
    put(record, f"{role}.strike_kind", level.kind if level else None)
    put(record, f"{role}.tags", None if hit.tags is None else hit.tags | move.tags)
    put(record, f"{role}.first_active", hit.first_active)
    put(record, f"{role}.damage", hit.damage)
    put(record, f"{role}.reach", None if hit.reach is None else from_micro(hit.reach))
    put(record, f"{role}.on_block", hit.on_block)
    put(record, f"{role}.can_be_broken", None if hit.breaks is None else bool(hit.breaks))
    if hit.breaks:
        put(record, f"{role}.broken_by", _ways_out(conventions, hit.breaks))
        windows = [conventions.throw_breaks[way].window for way in hit.breaks]
        put(record, f"{role}.break_window", _most(windows))
    return record


def _asked_for(record: Record, move: Move) -> None:
    """What the option asks of its user: ``needs`` by name, and the figures."""
    asks = move.requires or Requires()
    price = max(move.cost or 0, asks.meter or 0)
    stated = {
        "stance": asks.stance is not None, "back_turned": bool(asks.back_turned), "wall": bool(asks.near_wall),
        "low_health": asks.health_below is not None, "meter": price > 0,
    }
    record["mine.needs"] = frozenset(name for name, yes in stated.items() if yes)
    put(record, "mine.stance", asks.stance)
    if asks.health_below is not None:
        record["mine.health_below"] = round(100 * asks.health_below, 2)
    if price:
        record["mine.cost"] = price


def _ways_out(conventions: Conventions, breaks: frozenset[str]) -> str:
    """Every break with its input and the frames that it has: ``twine within 18 frames``."""
    said = []
    for name in sorted(breaks):
        way = conventions.throw_breaks[name]
        press = way.input or name.replace("_", " ")
        if way.window is None:
            said.append(say("{input} frames not recorded", input=press))
        else:
            said.append(say("{input} within {window} frames", input=press, window=way.window))
    return in_words(" or ").join(said)


def _most(windows: list[int | None]) -> int | None:
    known = [window for window in windows if window is not None]
    return max(known) if known and len(known) == len(windows) else None
