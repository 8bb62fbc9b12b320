"""Exchange facts: one flat record for a pair (my option, their reply), for the rules to speak about.

A record maps fact names of the vocabulary to values; a fact that is unknown is not in it.
"""

from __future__ import annotations

import msgspec
from msgspec import Struct

from advisor.facts.outcome import Outcome, outcome_of
from advisor.facts.own_facts import Record, Value, own_facts, put
from advisor.facts.situation import Entry, Situation
from advisor.timeline.body import Body, caught_by
from advisor.timeline.exchange import Exchange, meet
from advisor.timeline.side import Side, timeline_of
from advisor.units import MICRO, from_micro

__all__ = ["Pair", "Ready", "Record", "Value", "meeting_of", "pair_of", "ready", "situation_record"]


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
    put(record, "situation.advantage", situation.advantage)
    clock = situation.free
    put(record, "situation.they_are", _held(clock.them_held, clock.them_free))
    put(record, "situation.i_am", _held(clock.me_held, clock.me_free))
    if situation.distance is not None:
        record["situation.distance"] = from_micro(situation.distance)
    put(record, "situation.my_health", situation.my_health)
    put(record, "situation.their_health", situation.their_health)
    put(record, "situation.knockdown", situation.knockdown)
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


class Ready:
    """One option made ready to meet many: its own facts, and its sides on both clocks.

    ``role`` is mine or theirs. What hangs on the option alone is worked out once a question.
    """

    __slots__ = ("contact", "entry", "facts", "first", "free", "hit", "timeline")

    def __init__(self, situation: Situation, entry: Entry, role: str) -> None:
        move = entry.move
        self.entry = entry
        self.timeline = timeline_of(move)
        self.hit = move.hits[0] if move.hits else None
        self.first = self.hit.first_active if self.hit else None
        self.facts = own_facts(move, role, situation.pack.conventions)
        mine = role == "mine"
        self.free = None if entry.follows else situation.side(entry, mine, situation.free)
        self.contact = situation.side(entry, mine, situation.contact)


def ready(situation: Situation) -> tuple[list[Ready], list[Ready], list[Ready]]:
    """My options, their replies and their further replies, ready to be set against each other."""
    return (
        [Ready(situation, entry, "mine") for entry in situation.responses],
        [Ready(situation, entry, "theirs") for entry in situation.replies],
        [Ready(situation, entry, "theirs") for entry in situation.further],
    )


def meeting_of(situation: Situation, mine: Ready, theirs: Ready, delay: int = 0) -> Pair:
    """As ``pair_of``, with an empty record: what happens and what it leaves, without the facts for rules."""
    string = mine.entry.follows or theirs.entry.follows
    me, them = (mine.contact, theirs.contact) if string else (mine.free, theirs.free)
    if me is None or them is None:
        return Pair(
            mine=mine.entry, theirs=theirs.entry, record={}, me=None, them=None, exchange=None,
            outcome=None, missing=_unclocked(situation, mine.entry, theirs.entry),
        )
    if delay:
        me = msgspec.structs.replace(me, delay=delay)
    exchange = meet(
        situation.pack.conventions, me, them, situation.distance,
        nearest=situation.nearest, farthest=situation.farthest,
    )
    return Pair(
        mine=mine.entry, theirs=theirs.entry, record={}, me=me, them=them, exchange=exchange,
        outcome=outcome_of(situation, me, them, exchange), missing=exchange.missing,
    )


def pair_of(situation: Situation, mine: Ready, theirs: Ready, delay: int = 0) -> Pair:
    """Everything about one of my options, begun ``delay`` frames late, against one of their replies."""
    pair = meeting_of(situation, mine, theirs, delay)
    me, them, exchange = pair.me, pair.them, pair.exchange
    record: Record = {
        **mine.facts,
        **theirs.facts,
        "mine.is_follow_up": mine.entry.follows,
        "theirs.is_follow_up": theirs.entry.follows,
    }
    if situation.distance is not None:
        record["exchange.distance"] = situation.distance / MICRO
    pair.record = record
    if mine.entry.follows or theirs.entry.follows:
        _string(record, situation, mine.entry if mine.entry.follows else theirs.entry)
    if me is None or them is None or exchange is None or pair.outcome is None:
        return pair
    _timing(record, me, them, mine.first, theirs.first)
    if mine.first is not None:
        _spacing(record, situation, (me, mine), (them, theirs), _MINE)
    if theirs.first is not None:
        _spacing(record, situation, (them, theirs), (me, mine), _THEIRS)
    if me.option.parry:
        _parry(record, me, theirs.entry)
    _result(record, exchange)
    if mine.hit is None:
        record["exchange.my_miss"] = "no_attack"
    if theirs.hit is None:
        record["exchange.their_miss"] = "no_attack"
    if situation.distance is None and not exchange.decided:
        _near(record, situation, me, them)
    _outcome(record, pair.outcome)
    return pair


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


def _timing(record: Record, me: Side, them: Side, first: int | None, other: int | None) -> None:
    held = them.held if them.free_at > 0 and them.held != "none" else "free"
    record["exchange.they_are"] = held
    record["exchange.held_until"] = them.free_at if held != "free" else 0
    record["exchange.they_act_from"] = max(0, them.free_at) + 1
    mine_held = me.held if me.free_at > 0 and me.held != "none" else "free"
    record["exchange.i_am"] = mine_held
    record["exchange.i_am_held_until"] = me.free_at if mine_held != "free" else 0
    if first is not None:
        at = me.begins + first
        record["mine.contact_frame"] = at
        if held != "free":
            record["exchange.frames_to_spare"] = them.free_at - at
    if other is not None:
        at = them.begins + other
        record["theirs.contact_frame"] = at
        if first is not None:
            record["exchange.frame_lead"] = at - me.begins - first


_MINE = ("exchange.reach_margin", "exchange.reaches", "exchange.their_posture_at_mine")
_THEIRS = ("exchange.their_reach_margin", "exchange.they_reach", "exchange.my_posture_at_theirs")


def _spacing(
    record: Record,
    situation: Situation,
    striker: tuple[Side, Ready],
    struck: tuple[Side, Ready],
    names: tuple[str, str, str],
) -> None:
    """Reach against distance, and the posture that the attack meets on its first active frame."""
    side, ready = striker
    other, target = struck
    hit = ready.hit
    assert hit is not None
    assert ready.first is not None
    frame = side.begins + ready.first
    margin, reaches, seen = names
    closed: int | None = 0
    if ready.timeline.moves is not False or target.timeline.moves is not False:
        closed = _closed(side, ready, other, target, frame)
    if hit.reach is not None and closed is not None:
        if situation.distance is not None:
            inside = hit.reach - situation.distance + closed
            record[reaches] = inside >= 0
            record[margin] = inside / MICRO
        else:
            if situation.farthest is not None and hit.reach + closed >= situation.farthest:
                record[reaches] = True
            elif hit.reach + closed < situation.nearest:
                record[reaches] = False
            if names is _MINE and situation.pushback is not None:
                # With an unknown distance: how near the two must have been for my attack to reach.
                record["exchange.lands_within"] = (hit.reach + closed - situation.pushback) / MICRO
    if target.timeline.plain_body and (frame > other.free_at or (other.prior is None and other.held != "knockdown")):
        record[seen] = "standing"
        return
    ways = Body(situation.pack.conventions, other, frame, "").postures()
    if len(ways) == 1:
        record[seen] = ways[0][0]


def _closed(side: Side, ready: Ready, other: Side, target: Ready, frame: int) -> int | None:
    """Micro-units by which both have moved together by ``frame``; None when a movement is unknown."""
    if ready.timeline.moves is None or target.timeline.moves is None:
        return None
    return ready.timeline.moved(frame - side.begins) + target.timeline.moved(frame - other.begins)


def _near(record: Record, situation: Situation, me: Side, them: Side) -> None:
    """What my attack would do at the nearest distance that is possible."""
    near = meet(situation.pack.conventions, me, them, situation.nearest)
    if near.decided and near.by == "me":
        record["exchange.near_effect"] = near.effect
        put(record, "exchange.near_frame", near.frame)
        put(record, "exchange.near_breakable", near.breakable)


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
        if exchange.frame is not None:
            record["exchange.frame"] = exchange.frame
        if exchange.posture is not None:
            record["exchange.posture"] = exchange.posture
        if exchange.phase is not None:
            record["exchange.phase"] = exchange.phase
        if exchange.breakable is not None:
            record["exchange.breakable"] = exchange.breakable
        taken = exchange.armoured
        if taken is not None:
            record["exchange.they_absorb"] = bool(taken) and any(by == "me" for by, _ in taken)
            record["exchange.i_absorb"] = bool(taken) and any(by == "them" for by, _ in taken)
    # A side that surely touches (had the other not come first) misses for no reason.
    armoured = {by for by, _ in exchange.armoured or ()}
    if exchange.my_miss is not None or exchange.mine is not None or "me" in armoured:
        record["exchange.my_miss"] = "none" if "me" in armoured else exchange.my_miss or "none"
    if exchange.their_miss is not None or exchange.theirs is not None or "them" in armoured:
        record["exchange.their_miss"] = "none" if "them" in armoured else exchange.their_miss or "none"


def _outcome(record: Record, outcome: Outcome) -> None:
    for name, value in (
        ("exchange.damage_dealt", outcome.dealt),
        ("exchange.damage_taken", outcome.taken),
        ("exchange.advantage_after", outcome.advantage),
        ("exchange.knockdown_after", outcome.knockdown),
        ("exchange.their_punish", outcome.their_punish),
        ("exchange.they_can_punish", outcome.they_can_punish),
        ("exchange.my_punish", outcome.my_punish),
        ("exchange.i_can_punish", outcome.i_can_punish),
        ("exchange.catch_name", outcome.catch),
        ("exchange.their_punish_name", outcome.their_punish_name),
        ("exchange.my_punish_name", outcome.my_punish_name),
        ("exchange.wall_after", outcome.wall),
        ("exchange.floor_after", outcome.floor),
        ("exchange.added_damage", outcome.added),
        ("exchange.added_damage_taken", outcome.added_taken),
        ("exchange.wall_if_near", outcome.wall_if_near),
        ("exchange.floor_if_breaks", outcome.floor_if_breaks),
        ("exchange.lethal", outcome.lethal),
        ("exchange.they_are_lethal", outcome.they_are_lethal),
    ):
        if value is not None:
            record[name] = value
    if outcome.distance is not None:
        record["exchange.distance_after"] = outcome.distance / MICRO
