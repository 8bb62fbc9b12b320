"""Exchange facts: one flat record for a pair (my option, their reply), for the rules to speak about.

A record maps fact names of the vocabulary to values; a fact that is unknown is not in it.
"""

from __future__ import annotations

from msgspec import Struct

from advisor.facts.outcome import Outcome, outcome_of
from advisor.facts.situation import Entry, Situation
from advisor.pack.model import Hit, Move
from advisor.timeline.body import Body, caught_by
from advisor.timeline.exchange import Exchange, meet
from advisor.timeline.side import Side, timeline_of
from advisor.units import from_micro

__all__ = ["Pair", "Record", "Value", "pair_of", "situation_record"]

Value = int | float | bool | str | frozenset[str]
Record = dict[str, Value]


class Pair(Struct, kw_only=True):
    """One exchange with all that was worked out about it.

    ``missing`` names the properties that would decide the exchange; empty when it is decided.
    """

    mine: Entry
    theirs: Entry
    record: Record
    me: Side | None
    them: Side | None
    exchange: Exchange | None
    outcome: Outcome | None
    missing: frozenset[str]


def situation_record(situation: Situation) -> Record:
    """The facts of the situation itself."""
    record: Record = {"situation.moment": situation.moment, "situation.attacker": situation.attacker}
    if situation.move is not None:
        record["situation.move"] = situation.move.id
        record["situation.move_name"] = situation.move.name
    _put(record, "situation.advantage", situation.advantage)
    clock = situation.free
    _put(record, "situation.they_are", _held(clock.them_held, clock.them_free))
    _put(record, "situation.i_am", _held(clock.me_held, clock.me_free))
    if situation.distance is not None:
        record["situation.distance"] = from_micro(situation.distance)
    _put(record, "situation.my_health", situation.my_health)
    _put(record, "situation.their_health", situation.their_health)
    _put(record, "situation.knockdown", situation.knockdown)
    for name, character in (("my", situation.me), ("their", situation.them)):
        speeds = [
            m.hits[0].first_active
            for m in character.moves.values()
            if m.hits and m.requires is None and m.hits[0].first_active is not None
        ]
        if speeds:
            record[f"situation.{name}_fastest"] = min(speeds)
    return record


def _held(held: str, free: int | None) -> str | None:
    if free is None:
        return None
    return "free" if free <= 0 or held == "none" else held


def _put(record: Record, name: str, value: Value | None) -> None:
    if value is not None:
        record[name] = value


_STATIC: dict[tuple[int, str], tuple[Move, Record]] = {}
_KEEP = 50_000


def static_facts(move: Move, side: str, levels: dict[str, object]) -> Record:
    """The facts that hang on the move alone; kept by its identity."""
    kept = _STATIC.get((id(move), side))
    if kept is not None and kept[0] is move:
        return kept[1]
    record: Record = {f"{side}.option": move.id, f"{side}.name": move.name, f"{side}.kind": move.kind}
    if move.hits:
        hit = move.hits[0]
        _put(record, f"{side}.level", hit.level)
        level = levels.get(hit.level) if hit.level is not None else None
        _put(record, f"{side}.strike_kind", getattr(level, "kind", None))
        if hit.tags is not None:
            record[f"{side}.tags"] = hit.tags | move.tags
        _put(record, f"{side}.first_active", hit.first_active)
        _put(record, f"{side}.damage", hit.damage)
        if hit.reach is not None:
            record[f"{side}.reach"] = from_micro(hit.reach)
        _put(record, f"{side}.on_block", hit.on_block)
        if side == "mine":
            if hit.breaks is not None:
                record["mine.can_be_broken"] = bool(hit.breaks)
    else:
        record[f"{side}.tags"] = move.tags
    if len(_STATIC) >= _KEEP:
        _STATIC.clear()
    _STATIC[(id(move), side)] = (move, record)
    return record


def pair_of(situation: Situation, mine: Entry, theirs: Entry) -> Pair:
    """Everything about one of my options against one of their replies."""
    levels = situation.pack.conventions.levels
    record = {
        **static_facts(mine.move, "mine", levels),  # type: ignore[arg-type]
        **static_facts(theirs.move, "theirs", levels),  # type: ignore[arg-type]
        "mine.is_follow_up": mine.follows,
        "theirs.is_follow_up": theirs.follows,
    }
    if situation.distance is not None:
        record["exchange.distance"] = from_micro(situation.distance)
    if mine.follows or theirs.follows:
        _string(record, situation, mine if mine.follows else theirs)
    sides = situation.sides(mine, theirs)
    if sides is None:
        return Pair(
            mine=mine, theirs=theirs, record=record, me=None, them=None, exchange=None,
            outcome=None, missing=_unclocked(situation, mine, theirs),
        )
    me, them = sides
    exchange = meet(
        situation.pack.conventions, me, them, situation.distance,
        nearest=situation.nearest, farthest=situation.farthest,
    )
    _timing(record, me, them)
    _spacing(record, situation, me, them)
    if mine.move.parry:
        _parry(record, me, theirs)
    _result(record, exchange)
    if situation.distance is None and not exchange.decided:
        _near(record, situation, me, them)
    outcome = outcome_of(situation, me, them, exchange)
    _outcome(record, outcome)
    return Pair(
        mine=mine, theirs=theirs, record=record, me=me, them=them, exchange=exchange,
        outcome=outcome, missing=exchange.missing,
    )


def _unclocked(situation: Situation, mine: Entry, theirs: Entry) -> frozenset[str]:
    if not (mine.follows or theirs.follows):
        return situation.free.missing
    missing = set(situation.free.missing)
    if situation.stun is None:
        missing.add("moment.blockstun" if situation.moment == "blocked" else "moment.hitstun")
    for role, entry in (("mine", mine), ("theirs", theirs)):
        if entry.follows and entry.arrives is None:
            missing.add(f"{role}.arrives")
        if entry.follows and (not entry.move.hits or entry.move.hits[0].first_active is None):
            missing.add(f"{role}.first_active")
    return frozenset(missing)


def _string(record: Record, situation: Situation, follow: Entry) -> None:
    """The gap of a string: frames between the end of the stun and the next hit."""
    if follow.arrives is None:
        return
    record["exchange.arrives"] = follow.arrives
    if situation.stun is not None:
        record["exchange.gap"] = follow.arrives - situation.stun - 1


def _timing(record: Record, me: Side, them: Side) -> None:
    held = them.held if them.free_at > 0 and them.held != "none" else "free"
    record["exchange.they_are"] = held
    record["exchange.held_until"] = them.free_at if held != "free" else 0
    mine_held = me.held if me.free_at > 0 and me.held != "none" else "free"
    record["exchange.i_am"] = mine_held
    record["exchange.i_am_held_until"] = me.free_at if mine_held != "free" else 0
    first = me.option.hits[0].first_active if me.option.hits else None
    other = them.option.hits[0].first_active if them.option.hits else None
    if first is not None:
        at = me.begins + first
        record["mine.contact_frame"] = at
        if held != "free":
            record["exchange.frames_to_spare"] = them.free_at - at
    if other is not None:
        record["theirs.contact_frame"] = them.begins + other
        if first is not None:
            record["exchange.frame_lead"] = them.begins + other - me.begins - first


def _spacing(record: Record, situation: Situation, me: Side, them: Side) -> None:
    """Reach against distance, and the posture that each attack meets on its first active frame."""
    conventions = situation.pack.conventions
    for striker, struck, role in ((me, them, "my"), (them, me, "their")):
        if not striker.option.hits:
            continue
        hit = striker.option.hits[0]
        if hit.first_active is None:
            continue
        frame = striker.begins + hit.first_active
        if role == "my":
            margin, reaches, seen = "exchange.reach_margin", "exchange.reaches", "their_posture_at_mine"
        else:
            margin, reaches, seen = "exchange.their_reach_margin", "exchange.they_reach", "my_posture_at_theirs"
        inside = _reach(situation, striker, struck, hit, frame)
        if inside is not None:
            record[reaches] = inside >= 0
            if situation.distance is not None:
                record[margin] = from_micro(inside)
        if role == "my":
            _within(record, situation, hit, frame, striker, struck)
        ways = Body(conventions, struck, frame, "").postures()
        if len(ways) == 1:
            record[f"exchange.{seen}"] = ways[0][0]


def _reach(situation: Situation, striker: Side, struck: Side, hit: Hit, frame: int) -> int | None:
    """Reach less distance in micro-units; with an unknown distance, its sign where that is sure."""
    if hit.reach is None:
        return None
    moves = (timeline_of(striker.option), timeline_of(struck.option))
    if any(t.moves is None for t in moves):
        return None
    closed = 0
    if moves[0].moves or moves[1].moves:
        closed = moves[0].moved(frame - striker.begins) + moves[1].moved(frame - struck.begins)
    if situation.distance is not None:
        return hit.reach - situation.distance + closed
    if situation.farthest is not None and hit.reach + closed >= situation.farthest:
        return hit.reach + closed - situation.farthest
    if hit.reach + closed < situation.nearest:
        return hit.reach + closed - situation.nearest
    return None


def _within(record: Record, situation: Situation, hit: Hit, frame: int, me: Side, them: Side) -> None:
    """With an unknown distance: how near the two must have been for my attack to reach."""
    if situation.distance is not None or hit.reach is None or situation.pushback is None:
        return
    closed = timeline_of(me.option).moved(frame - me.begins)
    closed += timeline_of(them.option).moved(frame - them.begins)
    record["exchange.lands_within"] = from_micro(hit.reach + closed - situation.pushback)


def _near(record: Record, situation: Situation, me: Side, them: Side) -> None:
    """What my attack would do at the nearest distance that is possible."""
    near = meet(situation.pack.conventions, me, them, situation.nearest)
    if near.decided and near.by == "me":
        record["exchange.near_effect"] = near.effect
        _put(record, "exchange.near_frame", near.frame)
        _put(record, "exchange.near_breakable", near.breakable)


def _parry(record: Record, me: Side, theirs: Entry) -> None:
    """My parry window against their first active frame, and whether it takes that attack."""
    windows = me.option.parry or ()
    record["mine.parry_from"] = first = me.begins + windows[0].span.start
    record["mine.parry_to"] = last = me.begins + windows[-1].span.stop - 1
    at = record.get("theirs.contact_frame")
    if isinstance(at, int):
        record["exchange.parry_timing"] = (
            "too_late" if at < first else "too_early" if at > last else "in_time"
        )
    if not theirs.move.hits:
        return
    hit = theirs.move.hits[0]
    answers = []
    for window in windows:
        inside = caught_by(window.catches, hit)
        spared = caught_by(window.excepting, hit) if window.excepting else False
        answers.append(
            False if inside is False or spared else None if inside is None or spared is None else True
        )
    if any(answers):
        record["exchange.parry_catches"] = True
    elif None not in answers:
        record["exchange.parry_catches"] = False


def _result(record: Record, exchange: Exchange) -> None:
    if exchange.decided:
        record["exchange.by"] = exchange.by
        record["exchange.effect"] = exchange.effect
        _put(record, "exchange.frame", exchange.frame)
        _put(record, "exchange.posture", exchange.posture)
        _put(record, "exchange.phase", exchange.phase)
        _put(record, "exchange.breakable", exchange.breakable)
        if exchange.armoured is not None:
            taken = {by for by, _ in exchange.armoured}
            record["exchange.they_absorb"] = "me" in taken
            record["exchange.i_absorb"] = "them" in taken
    # A side that surely touches (had the other not come first) misses for no reason.
    for name, miss, touch in (
        ("exchange.my_miss", exchange.my_miss, exchange.mine),
        ("exchange.their_miss", exchange.their_miss, exchange.theirs),
    ):
        if miss is not None or touch is not None:
            record[name] = miss or "none"


def _outcome(record: Record, outcome: Outcome) -> None:
    _put(record, "exchange.damage_dealt", outcome.dealt)
    _put(record, "exchange.damage_taken", outcome.taken)
    _put(record, "exchange.advantage_after", outcome.advantage)
    if outcome.distance is not None:
        record["exchange.distance_after"] = from_micro(outcome.distance)
    _put(record, "exchange.knockdown_after", outcome.knockdown)
    _put(record, "exchange.their_punish", outcome.their_punish)
    _put(record, "exchange.they_can_punish", outcome.they_can_punish)
    _put(record, "exchange.my_punish", outcome.my_punish)
    _put(record, "exchange.i_can_punish", outcome.i_can_punish)
    _put(record, "exchange.catch_name", outcome.catch)
