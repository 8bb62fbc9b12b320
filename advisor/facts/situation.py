"""From a question to a situation: both clocks, the distance, and the options on either side."""

from __future__ import annotations

from collections.abc import Iterable

from msgspec import Struct

from advisor.errors import QuestionError, Unanswerable, did_you_mean
from advisor.facts.question import (
    Advantage,
    Blocked,
    CounterHit,
    Fighter,
    HitLanded,
    Neutral,
    Question,
    Whiffed,
)
from advisor.pack.model import Character, FollowUp, Hit, Move, Pack, Requires
from advisor.timeline.side import Side
from advisor.units import to_micro

__all__ = ["Clock", "Entry", "Situation", "settle"]

MOST_REPLIES = 6
MOST_KEY_REPLIES = 4
NOTHING: frozenset[str] = frozenset()


class Clock(Struct, frozen=True, kw_only=True):
    """When each side is free on the common clock, and what holds it until then.

    ``None`` for a free frame means that it is unknown; ``missing`` names what would tell.
    """

    me_free: int | None
    them_free: int | None
    me_held: str = "none"
    them_held: str = "none"
    me_prior: Move | None = None
    them_prior: Move | None = None
    me_prior_frame: int = 0
    them_prior_frame: int = 0
    missing: frozenset[str] = NOTHING


class Entry(Struct, frozen=True, kw_only=True):
    """One option that a side may take: the move, and how it follows when it continues a string.

    ``arrives`` is the frame after the contact on which a follow-up's first active frame falls.
    """

    move: Move
    key: str
    name: str
    arrives: int | None = None
    follows: bool = False
    unmet: tuple[str, ...] = ()


class Situation(Struct, frozen=True, kw_only=True):
    """What the facts are derived from; see ``settle``.

    ``further`` are replies to weigh too when nothing is guaranteed against ``replies``.
    ``free`` is the clock on which the side that is free first acts at 0; ``contact`` the one on
    which the blocked or landed hit is frame 0 (None: not known or not needed). ``distance`` is in
    micro-units once pushback is over, known only to lie in ``[nearest, farthest]`` when None.
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
        return Side(option=entry.move, free_at=free, held=held, prior=prior, prior_frame=frame)


def settle(pack: Pack, question: Question) -> Situation:
    """The situation that a question describes.

    Errors: ``Unanswerable`` for an id that the pack does not have, ``QuestionError`` for a
    question that contradicts itself; both with the JSON pointer of the value.
    """
    me = _character(pack, question.me, "/me/character")
    them = _character(pack, question.them, "/them/character")
    moment = question.moment
    away, assumed = _distance(pack, question)
    if isinstance(moment, Advantage | Neutral):
        return _even(pack, question, me, them, away, assumed)
    attacker = me if moment.attacker == "me" else them
    move = attacker.moves.get(moment.move)
    if move is None:
        raise Unanswerable(
            "move-unknown",
            f"fighter `{attacker.id}` has no move `{moment.move}` in pack `{pack.id}` {pack.version}",
            help=did_you_mean(moment.move, attacker.moves),
            pointer="/moment/move",
        )
    if not move.hits:
        raise QuestionError(
            "question-impossible",
            f"`{move.id}` is not an attack, so it cannot be {_said(moment)}",
            help="name a move with an active window",
            pointer="/moment/move",
        )
    return _after(pack, question, me, them, move, away, assumed)


def _said(moment: object) -> str:
    return {"Blocked": "blocked", "Whiffed": "whiffed"}.get(type(moment).__name__, "a hit")


def _character(pack: Pack, fighter: Fighter, pointer: str) -> Character:
    found = pack.characters.get(fighter.character)
    if found is None:
        raise Unanswerable(
            "character-unknown",
            f"pack `{pack.id}` has no character `{fighter.character}`",
            help=did_you_mean(fighter.character, pack.characters)
            or f"it has {', '.join(sorted(pack.characters)[:12])}",
            pointer=pointer,
        )
    return found


def _distance(pack: Pack, question: Question) -> tuple[int | None, tuple[str, ...]]:
    given = question.distance
    if given is None:
        return None, ()
    if isinstance(given, str):
        named = pack.conventions.distances
        if given not in named:
            raise Unanswerable(
                "distance-unknown",
                f"pack `{pack.id}` has no distance named `{given}`",
                help=did_you_mean(given, named) or f"it names {', '.join(sorted(named))}",
                pointer="/distance",
            )
        return named[given], ()
    return to_micro(given), ()


def _even(
    pack: Pack,
    question: Question,
    me: Character,
    them: Character,
    away: int | None,
    assumed: tuple[str, ...],
) -> Situation:
    """Raw advantage, or neutral."""
    moment = question.moment
    ahead = moment.frames if isinstance(moment, Advantage) else 0
    held = moment.held if isinstance(moment, Advantage) else "none"
    free = Clock(
        me_free=max(0, -ahead),
        them_free=max(0, ahead),
        me_held=held if ahead < 0 else "none",
        them_held=held if ahead > 0 else "none",
    )
    responses, excluded = _responses(pack, question, me, None, "")
    replies, further = _replies(pack, question, them, None, "", ahead, away)
    return Situation(
        pack=pack,
        me=me,
        them=them,
        moment="advantage" if isinstance(moment, Advantage) else "neutral",
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
        my_health=_health(question.me, me),
        their_health=_health(question.them, them),
        knockdown=None,
        responses=responses,
        replies=replies,
        further=further,
        excluded=excluded,
        missing=NOTHING,
        assumed=assumed,
    )


def _after(
    pack: Pack,
    question: Question,
    me: Character,
    them: Character,
    move: Move,
    away: int | None,
    assumed: tuple[str, ...],
) -> Situation:
    """After a move was blocked, hit, counter-hit or whiffed."""
    moment = question.moment
    assert isinstance(moment, Blocked | HitLanded | CounterHit | Whiffed)
    mine = moment.attacker == "me"
    hit = move.hits[-1] if isinstance(moment, Whiffed) else move.hits[0]
    kind, lead, stun, push, need = _result(moment, move, hit)
    nearest, farthest = _bounds(moment, hit, away, push)
    missing = set(need)
    if away is not None and push is None:
        missing.add("moment.pushback")
        assumed = (*assumed, "The pushback of the move is unknown, so the distance afterwards is too.")
    down = _knockdown(kind, hit)
    if down is not None:
        assumed = (*assumed, f"The move leaves a knockdown ({down}); wake-up options are not weighed here.")
    settled = away + push if away is not None and push is not None else None
    held = {"blocked": "blockstun", "whiffed": "none"}.get(kind, "hitstun")
    free = _clock(move, hit, lead, held, mine, frozenset(need), kind)
    contact = _contact_clock(move, hit, lead, stun, held, mine)
    ahead = None if lead is None else (lead if mine else -lead)
    responses, excluded = _responses(pack, question, me, move if mine else None, kind)
    replies, further = _replies(pack, question, them, None if mine else move, kind, ahead, settled)
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
        my_health=_health(question.me, me),
        their_health=_health(question.them, them),
        knockdown=down,
        responses=responses,
        replies=replies,
        further=further,
        excluded=excluded,
        missing=frozenset(missing),
        assumed=assumed,
    )


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
        extra = hit.leaves_counter_hit or hit.leaves_hit
        lead, stun = hit.on_counter_hit, None
        if lead is not None and hit.hitstun is not None and hit.on_hit is not None:
            stun = hit.hitstun + lead - hit.on_hit
        return "counter_hit", lead, stun, _further(push, extra), _lacks(lead, "moment.on_counter_hit")
    lead, extra = hit.on_hit, hit.leaves_hit
    return "hit", lead, hit.hitstun, _further(push, extra), _lacks(lead, "moment.on_hit")


def _lacks(value: int | None, name: str) -> set[str]:
    return {name} if value is None else set()


def _further(push: int | None, leaves: object) -> int | None:
    extra = getattr(leaves, "distance", None)
    return push if extra is None else (extra if push is None else push + extra)


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


def _clock(
    move: Move,
    hit: Hit,
    lead: int | None,
    held: str,
    mine: bool,
    missing: frozenset[str],
    kind: str,
) -> Clock:
    """The clock on which the side that is free first acts at 0."""
    if lead is None:
        return Clock(me_free=None, them_free=None, missing=missing)
    attacker, defender = max(0, -lead), max(0, lead)
    # The attacker goes on with its move until it is free; counted back from its last frame.
    frame = 0 if move.total is None else move.total - attacker
    prior = move if move.total is not None else None
    if mine:
        return Clock(
            me_free=attacker, them_free=defender, me_held="recovery", them_held=held,
            me_prior=prior, me_prior_frame=frame,
        )
    return Clock(
        me_free=defender, them_free=attacker, me_held=held, them_held="recovery",
        them_prior=prior, them_prior_frame=frame,
    )


def _contact_clock(
    move: Move, hit: Hit, lead: int | None, stun: int | None, held: str, mine: bool
) -> Clock | None:
    """The clock on which the contact is frame 0; needs the stun."""
    if lead is None or stun is None or hit.first_active is None or held == "none":
        return None
    attacker = stun - lead
    if mine:
        return Clock(
            me_free=attacker, them_free=stun, me_held="recovery", them_held=held,
            me_prior=move, me_prior_frame=hit.first_active,
        )
    return Clock(
        me_free=stun, them_free=attacker, me_held=held, them_held="recovery",
        them_prior=move, them_prior_frame=hit.first_active,
    )


def _knockdown(kind: str, hit: Hit) -> str | None:
    leaves = {
        "blocked": hit.leaves_block,
        "hit": hit.leaves_hit,
        "counter_hit": hit.leaves_counter_hit or hit.leaves_hit,
    }.get(kind)
    return leaves.knockdown if leaves else None


def _health(fighter: Fighter, character: Character) -> float | None:
    return fighter.health if fighter.health is not None else character.health


def _unmet(fighter: Fighter, move: Move) -> tuple[str | None, tuple[str, ...]]:
    """Why the option is out of the question, and what it asks that nobody has said."""
    asks = move.requires or Requires()
    if asks.follows:
        return "it only follows another move", ()
    if asks.stance is not None and asks.stance != fighter.stance:
        return f"it needs stance {asks.stance}", ()
    if asks.back_turned and not fighter.back_turned:
        return "it needs the back turned", ()
    open_: list[str] = []
    if asks.near_wall:
        if fighter.near_wall is False:
            return "it needs a wall", ()
        if fighter.near_wall is None:
            open_.append("a wall near by")
    if asks.health_below is not None:
        open_.append(f"health below {asks.health_below:.0%}")
    price = max(move.cost or 0, asks.meter or 0)
    if price:
        if fighter.meter is not None and fighter.meter < price:
            return f"it costs {price} meter", ()
        if fighter.meter is None:
            open_.append(f"{price} meter")
    return None, tuple(open_)


def _responses(
    pack: Pack, question: Question, me: Character, parent: Move | None, kind: str
) -> tuple[tuple[Entry, ...], tuple[tuple[str, str], ...]]:
    follow = _follow_entries(me, parent, kind)
    entries: dict[str, Entry] = {e.key: e for e in follow}
    excluded: list[tuple[str, str]] = []
    for move in (*me.moves.values(), *pack.system.values()):
        why, asks = _unmet_with_health(question.me, me, move)
        if why is None:
            entries.setdefault(move.id, Entry(move=move, key=move.id, name=move.name, unmet=asks))
        elif not (move.requires and move.requires.follows):
            excluded.append((move.id, why))
    if question.responses is None:
        return tuple(entries.values()), tuple(excluded)
    return _chosen(pack, me, question.responses, entries, "/responses"), ()


def _unmet_with_health(
    fighter: Fighter, character: Character, move: Move
) -> tuple[str | None, tuple[str, ...]]:
    why, asks = _unmet(fighter, move)
    limit = move.requires.health_below if move.requires else None
    health, full = _health(fighter, character), character.health
    if why is None and limit is not None and health is not None and full:
        asks = tuple(a for a in asks if not a.startswith("health below"))
        if health / full >= limit:
            return f"it needs health below {limit:.0%}", ()
    return why, asks


def _follow_entries(character: Character, parent: Move | None, kind: str) -> list[Entry]:
    """The moves that may continue ``parent``; a delayable one stands twice, earliest and latest."""
    out: list[Entry] = []
    result = "whiff" if kind == "whiffed" else "block" if kind == "blocked" else kind
    for follow in parent.follow_ups if parent else ():
        move = character.moves.get(follow.move)
        if move is None or result not in follow.on:
            continue
        span = _arrivals(parent, move, follow)
        if span is None:
            out.append(Entry(move=move, key=f"{move.id}", name=f"{move.name} (follow-up)", follows=True))
            continue
        first, last = span
        out.append(
            Entry(move=move, key=move.id, name=f"{move.name} (follow-up)", arrives=first, follows=True)
        )
        if last > first:
            out.append(
                Entry(
                    move=move,
                    key=f"{move.id}@{last}",
                    name=f"{move.name} (follow-up, delayed by {last - first})",
                    arrives=last,
                    follows=True,
                )
            )
    return out


def _arrivals(parent: Move | None, move: Move, follow: FollowUp) -> tuple[int, int] | None:
    """Earliest and latest frame after the parent's contact on which the follow-up can touch."""
    if follow.arrives is not None:
        return follow.arrives.start, follow.arrives.stop - 1
    assert parent is not None
    own = move.hits[0].first_active if move.hits else None
    start = parent.hits[0].first_active if parent.hits else None
    if follow.begins is None or own is None or start is None:
        return None
    shift = own - 1 - start
    return follow.begins.start + shift, follow.begins.stop - 1 + shift


def _chosen(
    pack: Pack, character: Character, ids: list[str], entries: dict[str, Entry], pointer: str
) -> tuple[Entry, ...]:
    out = []
    known = {**pack.system, **character.moves}
    for i, key in enumerate(ids):
        if key in entries:
            out.append(entries[key])
        elif key in known:
            move = known[key]
            out.append(Entry(move=move, key=key, name=move.name))
        else:
            raise Unanswerable(
                "option-unknown",
                f"`{key}` is neither a move of `{character.id}` nor a system option of `{pack.id}`",
                help=did_you_mean(key, known),
                pointer=f"{pointer}/{i}",
            )
    return _unique(out)


def _replies(
    pack: Pack,
    question: Question,
    them: Character,
    parent: Move | None,
    kind: str,
    ahead: int | None,
    distance: int | None,
) -> tuple[tuple[Entry, ...], tuple[Entry, ...]]:
    """What they may do: as asked, or what the situation suggests; and what else when nothing is guaranteed."""
    follow = _follow_entries(them, parent, kind)
    entries: dict[str, Entry] = {e.key: e for e in follow}
    for move in (*them.moves.values(), *pack.system.values()):
        if not (move.requires and move.requires.follows):
            entries.setdefault(move.id, Entry(move=move, key=move.id, name=move.name))
    wanted = question.replies
    if isinstance(wanted, list):
        if not wanted:
            raise QuestionError(
                "question-impossible", "`replies` is empty",
                help="name at least one reply, or leave it out", pointer="/replies",
            )
        return _chosen(pack, them, wanted, entries, "/replies"), ()
    guards = [e for e in entries.values() if e.move.kind == "guard"]
    guard = max(guards, key=_width) if guards else None
    if wanted == "all":
        return tuple(entries.values()), ()
    keys = [entries[k] for k in them.key_moves if k in entries]
    if wanted == "key":
        return _unique([*follow, *keys]), ()
    stays = [guard] if guard else []
    if ahead is not None and ahead > 0:
        # They are held first; whatever is not guaranteed then meets a guard, or their quickest attack.
        return _unique([*follow, *stays]), tuple(_quickest(pack, entries.values(), distance))
    return _unique([*follow, *stays, *keys[:MOST_KEY_REPLIES]])[:MOST_REPLIES], ()


def _quickest(pack: Pack, entries: Iterable[Entry], distance: int | None) -> list[Entry]:
    """Their fastest strike that asks for nothing and is known to reach."""
    levels = pack.conventions.levels
    ready = [
        (e.move.hits[0].first_active, i, e)
        for i, e in enumerate(entries)
        if e.move.hits
        and e.move.requires is None
        and not e.move.cost
        and e.move.hits[0].first_active is not None
        and e.move.hits[0].reach is not None
        and e.move.hits[0].reach >= (distance or 0)
        and e.move.hits[0].level in levels
        and levels[e.move.hits[0].level].kind == "strike"
        and not e.follows
    ]
    return [min(ready)[2]] if ready else []


def _width(entry: Entry) -> int:
    return max((len(g.guards) for g in entry.move.guard), default=0)


def _unique(entries: list[Entry]) -> tuple[Entry, ...]:
    return tuple({e.key: e for e in entries}.values())
