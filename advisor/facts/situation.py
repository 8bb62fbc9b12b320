"""From a question to a situation: both clocks, the distance, and the options on either side."""

from __future__ import annotations

from msgspec import Struct

from advisor.errors import QuestionError, Unanswerable, did_you_mean
from advisor.facts.clock import Clock, contact_clock, free_clock
from advisor.facts.lookup import character_in, distance_in, move_in
from advisor.facts.options import Entry, health_of, replies_to, responses_of
from advisor.facts.question import (
    Advantage,
    Blocked,
    CounterHit,
    HitLanded,
    KnockedDown,
    Neutral,
    Question,
    Whiffed,
)
from advisor.facts.surroundings import Around, Landing, Way, landing_of
from advisor.pack.model import UPRIGHT, Character, Hit, Leaves, Move, Pack
from advisor.sentences import in_words, say
from advisor.timeline.side import Side

__all__ = ["Clock", "Entry", "Situation", "settle"]

NOTHING: frozenset[str] = frozenset()


class Situation(Struct, frozen=True, kw_only=True):
    """What the facts are derived from; see ``settle``.

    ``further`` are replies to weigh too when nothing is guaranteed against ``replies``.
    ``free`` is the clock on which the side that is free first acts at 0; ``contact`` the one on
    which the blocked or landed hit is frame 0 (None: not known or not needed). ``distance`` is in
    micro-units once pushback is over, known only to lie in ``[nearest, farthest]`` when None.
    ``around_me`` and ``around_them`` are the wall and floor that either side is struck at; ``hangs`` the
    parts of the question of which the moment's hit makes something.
    """

    pack: Pack
    me: Character
    them: Character
    moment: str
    attacker: str
    move: Move | None
    hit: Hit | None
    advantage: int | None
    distance: int | None
    nearest: int
    farthest: int | None
    pushback: int | None
    free: Clock
    contact: Clock | None
    stun: int | None
    my_health: float | None
    their_health: float | None
    knockdown: str | None
    responses: tuple[Entry, ...]
    replies: tuple[Entry, ...]
    further: tuple[Entry, ...]
    excluded: tuple[tuple[str, str], ...]
    missing: frozenset[str]
    assumed: tuple[str, ...]
    around_me: Around = Around()
    around_them: Around = Around()
    hangs: frozenset[str] = NOTHING

    def side(self, entry: Entry, mine: bool, clock: Clock | None) -> Side | None:
        """An option as a side on a clock; None when a frame that it needs is unknown."""
        if clock is None:
            return None
        if mine:
            free, held, prior, frame = clock.me_free, clock.me_held, clock.me_prior, clock.me_prior_frame
        else:
            free, held, prior, frame = (
                clock.them_free, clock.them_held, clock.them_prior, clock.them_prior_frame
            )
        if entry.follows:
            first = entry.move.hits[0].first_active if entry.move.hits else None
            free = None if entry.arrives is None or first is None else entry.arrives - first
        if free is None:
            return None
        lying = "grounded"
        if held == "knockdown" and self.knockdown is not None:
            lying = self.pack.conventions.knockdowns[self.knockdown].posture
        return Side(
            option=entry.move, free_at=free, held=held, prior=prior, prior_frame=frame, lying=lying
        )


def settle(pack: Pack, question: Question) -> Situation:
    """The situation that a question describes.

    Errors: ``Unanswerable`` for an id that the pack does not have, ``QuestionError`` for a
    question that contradicts itself; both with the JSON pointer of the value.
    """
    me = character_in(pack, question.me.character, "/me/character")
    them = character_in(pack, question.them.character, "/them/character")
    moment = question.moment
    away = distance_in(pack, question.distance)
    if isinstance(moment, Advantage | Neutral | KnockedDown):
        return _even(pack, question, me, them, away)
    attacker = me if moment.attacker == "me" else them
    move = move_in(pack, attacker, moment.move, "/moment/move")
    if not move.hits:
        raise QuestionError(
            "question-impossible",
            f"`{move.id}` is not an attack, so it cannot be {_said(moment)}",
            help="name a move with an active window",
            pointer="/moment/move",
        )
    return _after(pack, question, me, them, move, away)


def _said(moment: object) -> str:
    return {"Blocked": "blocked", "Whiffed": "whiffed"}.get(type(moment).__name__, "a hit")


def _even(
    pack: Pack,
    question: Question,
    me: Character,
    them: Character,
    away: int | None,
) -> Situation:
    """Raw advantage, a knockdown, or neutral."""
    moment = question.moment
    ahead, mine, theirs = 0, None, None
    me_held = them_held = "none"
    if isinstance(moment, Advantage):
        ahead, me_held, them_held = moment.frames, moment.held, moment.held
    elif isinstance(moment, KnockedDown):
        state = _state(pack, moment.state)
        # The one who stands may still be in recovery when the other's wake-up option begins.
        if moment.floored == "them":
            ahead, theirs, me_held, them_held = moment.frames, state, "recovery", "knockdown"
        else:
            ahead, mine, me_held, them_held = -moment.frames, state, "knockdown", "recovery"
    free = Clock(
        me_free=max(0, -ahead),
        them_free=max(0, ahead),
        me_held=me_held if ahead < 0 else "none",
        them_held=them_held if ahead > 0 else "none",
    )
    responses, excluded = responses_of(pack, question, me, None, "", mine)
    replies, further = replies_to(pack, question, them, None, "", ahead, away, theirs)
    return Situation(
        pack=pack,
        me=me,
        them=them,
        moment=type(moment).__struct_config__.tag,  # type: ignore[arg-type]
        attacker="nobody",
        move=None,
        hit=None,
        advantage=ahead,
        distance=away,
        nearest=away or 0,
        farthest=away,
        pushback=0,
        free=free,
        contact=None,
        stun=None,
        my_health=health_of(question.me, me),
        their_health=health_of(question.them, them),
        knockdown=mine or theirs,
        responses=responses,
        replies=replies,
        further=further,
        excluded=excluded,
        missing=NOTHING,
        assumed=(),
        around_me=_around(question, mine=True),
        around_them=_around(question, mine=False),
    )


def _around(question: Question, *, mine: bool) -> Around:
    """Where I stand (or they); a fighter's ``near_wall`` tells of the other side."""
    teller = question.them if mine else question.me
    return Around(wall=teller.near_wall, floor=question.floor_breaks)


def _state(pack: Pack, state: str) -> str:
    """A knockdown state of the pack. Errors: ``Unanswerable``."""
    known = pack.conventions.knockdowns
    if state not in known:
        raise Unanswerable(
            "knockdown-unknown",
            f"pack `{pack.id}` has no knockdown state `{state}`",
            help=did_you_mean(state, known) or f"it has {', '.join(known)}",
            pointer="/moment/state",
        )
    return state


def _after(
    pack: Pack,
    question: Question,
    me: Character,
    them: Character,
    move: Move,
    away: int | None,
) -> Situation:
    """After a move was blocked, hit, counter-hit or whiffed."""
    moment = question.moment
    assert isinstance(moment, Blocked | HitLanded | CounterHit | Whiffed)
    mine = moment.attacker == "me"
    hit = move.hits[-1] if isinstance(moment, Whiffed) else move.hits[0]
    kind, lead, stun, push, need = _result(moment, move, hit)
    plain = Way(
        damage=None, advantage=lead, knockdown=_knockdown(kind, hit),
        distance=away + push if away is not None and push is not None else None,
    )
    landing = _landing(pack, question, kind, hit, plain, mine)
    lead, stun, need = _at_a_wall(landing, lead, stun, need, mine)
    down, settled = landing.sure.knockdown, landing.sure.distance
    nearest, farthest = _bounds(moment, hit, away, push)
    if landing.asks:
        push = None if settled != plain.distance or len(landing.ways) > 1 else push
        nearest, farthest = _span_of(landing, nearest, farthest)
    missing = set(need)
    assumed: tuple[str, ...] = ()
    if landing.unsaid:
        named = {"wall": in_words("wall"), "floor": in_words("floor")}
        places = in_words(" and ").join(named[place] for place in sorted(landing.unsaid))
        unsaid = say(
            "{move} has an effect at a {places}; what stands around is not said.", move=move.name, places=places
        )
        assumed = (*assumed, unsaid)
    if away is not None and push is None and not landing.asks:
        missing.add("moment.pushback")
        assumed = (*assumed, in_words("The pushback of the move is unknown, so the distance afterwards is too."))
    if down is None and kind in ("hit", "counter_hit"):
        assumed = (*assumed, in_words("Whether the move knocks down is unknown."))
    held = {"blocked": "blockstun", "whiffed": "none"}.get(kind, "hitstun")
    if down not in (None, UPRIGHT):
        held = "knockdown"
    free = free_clock(move, lead, held, mine, frozenset(need))
    contact = contact_clock(move, hit, lead, stun, held, mine)
    ahead = None if lead is None else (lead if mine else -lead)
    floored = down if held == "knockdown" else None
    responses, excluded = responses_of(
        pack, question, me, move if mine else None, kind, None if mine else floored
    )
    replies, further = replies_to(
        pack, question, them, None if mine else move, kind, ahead, settled, floored if mine else None
    )
    return Situation(
        pack=pack,
        me=me,
        them=them,
        moment=kind,
        attacker="me" if mine else "them",
        move=move,
        hit=hit,
        advantage=ahead,
        distance=settled,
        nearest=nearest,
        farthest=farthest,
        pushback=push,
        free=free,
        contact=contact,
        stun=stun,
        my_health=health_of(question.me, me),
        their_health=health_of(question.them, them),
        knockdown=down,
        responses=responses,
        replies=replies,
        further=further,
        excluded=excluded,
        missing=frozenset(missing),
        assumed=assumed,
        hangs=frozenset(_told_by(mine)[place] for place in landing.asks),
        around_me=_around(question, mine=True),
        around_them=_around(question, mine=False),
    )


def _told_by(mine: bool) -> dict[str, str]:
    """Which part of the question tells of wall and floor for a hit of mine, or of theirs."""
    return {"wall": "me.near_wall" if mine else "them.near_wall", "floor": "floor_breaks"}


def _landing(pack: Pack, question: Question, kind: str, hit: Hit, plain: Way, mine: bool) -> Landing:
    """The ways in which the moment's hit can have ended; a whiff has touched nothing."""
    if kind == "whiffed":
        return Landing(ways=(plain,))
    # A hit of mine lands where they stand.
    return landing_of(pack.conventions, _around(question, mine=not mine), _left_by(kind, hit), plain)


def _at_a_wall(
    landing: Landing, lead: int | None, stun: int | None, need: set[str], mine: bool
) -> tuple[int | None, int | None, set[str]]:
    """Lead, stun and what is missing, once walls and floor have had their say."""
    if not landing.asks:
        return lead, stun, need
    sure = landing.sure.advantage
    if sure is None:
        if len({way.advantage for way in landing.ways}) > 1:
            need = {*need, *(f"situation.{_told_by(mine)[place]}" for place in landing.unsaid)}
            need |= {"moment.leaves"} if landing.unread else set()
        return None, None, need
    # The stun is longer by what the attacker gains.
    stun = None if stun is None or lead is None else stun + sure - lead
    return sure, stun, set()


def _span_of(landing: Landing, nearest: int, farthest: int | None) -> tuple[int, int | None]:
    """Nearest and farthest that the two can be, over all ways; None: no limit is known."""
    known = [way.distance for way in landing.ways]
    ends = [(nearest, farthest) if one is None else (one, one) for one in known]
    far = [end for _, end in ends]
    return min(near for near, _ in ends), None if None in far else max(end for end in far if end is not None)


def _result(
    moment: Blocked | HitLanded | CounterHit | Whiffed, move: Move, hit: Hit
) -> tuple[str, int | None, int | None, int | None, set[str]]:
    """Kind, the attacker's advantage, the stun, the pushback in micro-units, and what is missing."""
    extra = None
    if isinstance(moment, Blocked):
        lead, stun, push, extra = hit.on_block, hit.blockstun, hit.pushback_block, hit.leaves_block
        return "blocked", lead, stun, _further(push, extra), _lacks(lead, "moment.on_block")
    if isinstance(moment, Whiffed):
        last = hit.active_stop
        left = None if move.total is None or last is None else last - 1 - move.total
        return "whiffed", left, None, 0, _lacks(left, "moment.recovery")
    push = hit.pushback_hit
    if isinstance(moment, CounterHit):
        extra = hit.leaves_counter_hit
        lead, stun = hit.on_counter_hit, None
        if lead is not None and hit.hitstun is not None and hit.on_hit is not None:
            stun = hit.hitstun + lead - hit.on_hit
        return "counter_hit", lead, stun, _further(push, extra), _lacks(lead, "moment.on_counter_hit")
    lead, extra = hit.on_hit, hit.leaves_hit
    return "hit", lead, hit.hitstun, _further(push, extra), _lacks(lead, "moment.on_hit")


def _lacks(value: int | None, name: str) -> set[str]:
    return {name} if value is None else set()


def _further(push: int | None, leaves: Leaves | None) -> int | None:
    """Pushback and the distance that the contact leaves on top of it; unknown when either is."""
    if push is None or leaves is None or leaves.distance is None:
        return None
    return push + leaves.distance


def _bounds(
    moment: object, hit: Hit, away: int | None, push: int | None
) -> tuple[int, int | None]:
    """Nearest and farthest that the two can be now: a move that touched was within its reach."""
    if away is not None:
        return (away + push, away + push) if push is not None else (away, None)
    if isinstance(moment, Whiffed):
        return 0, None
    if push is None:
        return 0, None
    return push, None if hit.reach is None else hit.reach + push


def _knockdown(kind: str, hit: Hit) -> str | None:
    leaves = _left_by(kind, hit)
    return leaves.knockdown if leaves else None


def _left_by(kind: str, hit: Hit) -> Leaves | None:
    return {
        "blocked": hit.leaves_block,
        "hit": hit.leaves_hit,
        "counter_hit": hit.leaves_counter_hit,
    }.get(kind)
