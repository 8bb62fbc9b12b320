"""What happens in an exchange, frame by frame: who begins, what misses and why, what touches, who can act again.

The deciding contact is taken from the exchange as it was worked out; whatever comes before it is looked at
here one frame at a time.
"""

from __future__ import annotations

from collections.abc import Iterator

from msgspec import Struct

from advisor.facts.outcome import Outcome
from advisor.pack.model import Hit
from advisor.sentences import in_words, say
from advisor.studies.replay_answer import Event
from advisor.studies.replay_frames import LANDED, OTHER, ROLES, Strip, is_active
from advisor.timeline.body import Body
from advisor.units import FOREVER, from_micro

__all__ = ["MISSES", "Touch", "certain_end", "events_of", "touch_of"]

MISSES = ("reach", "posture", "invulnerable", "sidestep")
NOTHING: frozenset[str] = frozenset()


class Touch(Struct, kw_only=True):
    """One hit on one frame on which it is or may be active.

    ``touches`` is None when that hangs on ``needs``; ``miss`` says why not; ``short`` by how many micro-units.
    """

    hit: int
    touches: bool | None
    miss: str | None = None
    short: int | None = None
    needs: frozenset[str] = NOTHING


def touch_of(strip: Strip, by: str, frame: int, spent: set[int]) -> Touch | None:
    """The first unspent hit of a side that is or may be active on a frame; None when there is none."""
    option, own = strip.sides[by].option, strip.own(by, frame)
    for number, hit in enumerate(option.hits):
        on = is_active(hit, own, option.total)
        if on is False or number in spent:
            continue
        found = _tested(strip, by, frame, hit)
        found.hit = number
        if on is None:
            need = "first_active" if hit.first_active is None else "active"
            found.needs = found.needs | {f"{ROLES[by]}.{need}"}
            found.touches = None if found.touches else found.touches
        return found
    return None


def _tested(strip: Strip, by: str, frame: int, hit: Hit) -> Touch:
    """An active hit against reach, posture, invulnerability and sidestep, in the domain's order."""
    body = strip.body(OTHER[by], frame)
    needs: frozenset[str] = NOTHING
    away = strip.distance(frame)
    if hit.reach is None or away is None:
        needs = _reach_needs(strip, by, hit, away)
    elif away > hit.reach:
        return Touch(hit=0, touches=False, miss="reach", short=away - hit.reach)
    inside, wanted = _posture(strip, by, hit, body)
    if inside is False:
        return Touch(hit=0, touches=False, miss="posture")
    needs = needs | wanted
    for word, (passed, because) in (
        ("invulnerable", body.shielded(hit, ROLES[by])), ("sidestep", body.sidestepped(hit, ROLES[by])),
    ):  # fmt: skip
        if passed:
            return Touch(hit=0, touches=False, miss=word)
        if passed is None:
            needs = needs | because
    return Touch(hit=0, touches=None if needs else True, needs=needs)


def _reach_needs(strip: Strip, by: str, hit: Hit, away: int | None) -> frozenset[str]:
    """Properties that would tell whether it reaches; none when it reaches from anywhere they can be."""
    here = strip.situation
    needs = set() if hit.reach is not None else {f"{ROLES[by]}.reach"}
    needs |= {f"{ROLES[who]}.displacement" for who in OTHER if strip.sides[who].option.displacement is None}
    if here.distance is None and away is None:
        still = all(strip.sides[who].option.displacement == () for who in OTHER)
        if hit.reach is not None and still and here.farthest is not None and hit.reach >= here.farthest:
            return NOTHING
        needs.add("situation.distance")
    return frozenset(needs)


def _posture(strip: Strip, by: str, hit: Hit, body: Body) -> tuple[bool | None, frozenset[str]]:
    level = strip.conventions.levels.get(hit.level or "")
    if level is None:
        return None, frozenset({f"{ROLES[by]}.level"})
    ways = body.postures()
    inside = {posture in level.hits for posture, _ in ways}
    if len(inside) == 1:
        return inside.pop(), NOTHING
    return None, NOTHING.union(*(needs for _, needs in ways))


def certain_end(strip: Strip, last: int) -> int:
    """The frame by which the exchange is over whatever the unknown properties are; ``last`` when there is none."""
    if strip.exchange.decided and strip.contact is not None:
        return last
    for frame in range(1, last + 1):
        for by in OTHER:
            touch = touch_of(strip, by, frame, set())
            if touch is not None and touch.touches and not _may_go_on(strip, by, frame, touch):
                return frame
    return last


def events_of(strip: Strip, last: int) -> list[Event]:
    """Everything that happens up to the frame ``last``, in order of the frames."""
    found = [*_turns(strip, last), *_attacks(strip, last), *_deciding(strip, last)]
    return sorted((e for e in found if e.frame <= last), key=lambda e: e.frame)


def _attacks(strip: Strip, last: int) -> Iterator[Event]:
    """What comes of active frames up to the deciding contact, runs of one kind put together."""
    end = last if strip.contact is None else min(last, strip.contact)
    armoured = set(strip.exchange.armoured or ())
    for by in OTHER:
        spent: set[int] = set()
        run: Event | None = None
        short: int | None = None
        for frame in range(1, end + 1):
            touch = touch_of(strip, by, frame, spent)
            if touch is None or (frame == strip.contact and touch.miss is None and (by, frame) not in armoured):
                continue
            event = _event(strip, by, frame, touch, (by, frame) in armoured)
            if touch.touches:
                spent.add(touch.hit)
            alike = run is not None and (run.kind, run.hit, run.last) == (event.kind, event.hit, frame - 1)
            if run is not None and alike and event.hangs_on == run.hangs_on:
                run.last = frame
                if touch.short is not None and short is not None and touch.short < short:
                    run.sentence, short = event.sentence, touch.short
                continue
            if run is not None:
                yield run
            run, short = event, touch.short
            if event.kind == "would_touch" and not _may_go_on(strip, by, frame, touch):
                break
        if run is not None:
            yield run


def _may_go_on(strip: Strip, by: str, frame: int, touch: Touch) -> bool:
    """Whether armour may take what touches, so that the attack goes on."""
    hit = strip.sides[by].option.hits[touch.hit]
    body = strip.body(OTHER[by], frame)
    return body.where in ("option", "maybe over") and body.armour(hit, ROLES[by], ())[0] is not False


def _event(strip: Strip, by: str, frame: int, touch: Touch, armoured: bool) -> Event:
    option, other = strip.sides[by].option, strip.sides[OTHER[by]].option
    struck = _name(strip, OTHER[by])
    values = {"option": option.name, "struck": struck}
    if armoured:
        kind, said = "armoured", say("{struck}'s {other} takes {option} on its armour", other=other.name, **values)
    elif touch.miss is not None:
        kind, said = touch.miss, f"{option.name} {_missed(strip, by, frame, touch)}"
    elif touch.touches:
        kind, said = "would_touch", say("{option} touches {struck} if nothing comes before it", **values)
    else:
        wanted = _wanted(strip, touch.needs)
        kind, said = "may_touch", say("{option} may touch {struck}; that hangs on {wanted}", wanted=wanted, **values)
    if len(option.hits) > 1:
        said = say("{said} (hit {hit})", said=said, hit=touch.hit + 1)
    return Event(
        frame=frame, last=frame, by=by, kind=kind, option=option.id, hit=touch.hit + 1, sentence=said,
        hangs_on=strip.missing(touch.needs),
    )  # fmt: skip


def _missed(strip: Strip, by: str, frame: int, touch: Touch) -> str:
    """Why it misses, in words."""
    option = strip.sides[by].option
    struck = _name(strip, OTHER[by])
    level = (option.hits[touch.hit].level or in_words("attack")).replace("_", " ")
    if touch.miss == "reach":
        unit = strip.conventions.distance_unit
        return say("is out of reach by {short:g} {unit}", short=from_micro(touch.short or 0), unit=unit)
    if touch.miss == "posture":
        posture = strip.body(OTHER[by], frame).postures()[0][0]
        if posture == "crouching":
            return say("is evaded: {struck} crouches under a {level}", struck=struck, level=level)
        if posture == "airborne":
            return say("is evaded: {struck} is in the air over a {level}", struck=struck, level=level)
        if posture == "grounded":
            return say("is evaded: {struck} lies below a {level}", struck=struck, level=level)
        return say("is evaded: {struck} stands where a {level} finds nobody", struck=struck, level=level)
    if touch.miss == "invulnerable":
        return say("passes through: {struck} is invulnerable to it", struck=struck)
    return say("is evaded: {struck} steps past it", struck=struck)


def _wanted(strip: Strip, needs: frozenset[str]) -> str:
    names = [f"{m.move}: {m.property}" if m.move else m.property for m in strip.missing(needs)]
    return ", ".join(names).replace("_", " ")


def _name(strip: Strip, who: str) -> str:
    """The character's name; with the side where both are the same."""
    me, them = strip.situation.me.name, strip.situation.them.name
    name = me if who == "me" else them
    return f"{name} ({in_words(who)})" if me == them else name


def _turns(strip: Strip, last: int) -> Iterator[Event]:
    """Who begins what, and who can act again."""
    contact = strip.contact if strip.contact is not None else last
    for who, side in strip.sides.items():
        name, option = _name(strip, who), side.option
        begins = side.begins + 1
        if begins <= contact:
            own = max(1, 2 - begins)
            late = say(", on its frame {own}", own=own) if own > 1 else ""
            said = say("{name} begins {option}{late}", name=name, option=option.name, late=late)
            yield _turn(max(1, begins), who, "begins", option.id, said)
        if side.held != "none" and 1 <= side.free_at < contact and begins > side.free_at + 1:
            yield _turn(side.free_at + 1, who, "acts", option.id, say("{name} can act, and waits", name=name))
        over = strip.stuck_until if who == strip.struck else side.over()
        if over is not None and over < FOREVER and (who == strip.struck or begins <= contact):
            yield _turn(max(contact if who == strip.struck else 1, over) + 1, who, "acts", option.id,
                        say("{name} can act again", name=name))  # fmt: skip


def _turn(frame: int, by: str, kind: str, option: str, sentence: str) -> Event:
    return Event(frame=frame, last=frame, by=by, kind=kind, option=option, sentence=sentence)


def _deciding(strip: Strip, last: int) -> Iterator[Event]:
    """The contact that decides, or that there is none."""
    exchange, outcome = strip.exchange, strip.pair.outcome
    if not exchange.decided or (exchange.by != "none" and strip.contact is None):
        return
    frame = last if strip.contact is None else strip.contact
    by = "both" if exchange.by in ("both", "none") else exchange.by
    touch = {"me": exchange.mine, "them": exchange.theirs}.get(by)
    yield Event(
        frame=frame, last=frame, by=by, kind=exchange.effect, option=strip.sides[by if by in OTHER else "me"].option.id,
        hit=None if touch is None else touch.hit + 1, sentence=_said(strip, by, outcome),
    )  # fmt: skip


def _said(strip: Strip, by: str, outcome: Outcome | None) -> str:
    exchange = strip.exchange
    if by == "both":
        if exchange.effect == "none":
            return in_words("Neither touches the other")
        if exchange.effect == "trade":
            return in_words("Both are hit on the same frame")
        return in_words("Both touch on the same frame and neither gets through")
    striker, struck = strip.sides[by].option.name, _name(strip, OTHER[by])
    caught = f": {outcome.catch}" if outcome and outcome.catch else ""
    damage = None if outcome is None else outcome.dealt if by == "me" else outcome.taken
    cost = say(" for {damage:g} damage", damage=damage) if damage and exchange.effect in LANDED else ""
    return {
        "hit": say("{striker} hits {struck}{cost}", striker=striker, struck=struck, cost=cost),
        "counter_hit": say("{striker} counter-hits {struck}{cost}", striker=striker, struck=struck, cost=cost),
        "blocked": say("{struck} blocks {striker}{cost}", struck=struck, striker=striker, cost=cost),
        "parried": say("{struck} parries {striker}{caught}", struck=struck, striker=striker, caught=caught),
    }[exchange.effect] + _same_frame(strip, by)


def _same_frame(strip: Strip, by: str) -> str:
    """What the game's table said when the other's attack touched on that frame too."""
    exchange = strip.exchange
    other = exchange.theirs if by == "me" else exchange.mine
    if other is None or other.frame != exchange.frame or exchange.effect == "parried":
        return ""
    return say(
        "; {option} touches on the same frame, and it decides nothing",
        option=strip.sides[OTHER[by]].option.name,
    )


