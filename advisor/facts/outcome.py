"""What an exchange costs and leaves: damage, advantage, distance, knockdown, wall and floor, and who can punish."""

from __future__ import annotations

from msgspec import Struct

from advisor.facts.situation import Situation
from advisor.facts.surroundings import Around, Landing, Way, landing_of
from advisor.pack.model import UPRIGHT, CatchOutcome, Character, Hit, Leaves, Move
from advisor.timeline.body import Body, caught_by
from advisor.timeline.exchange import Contact, Exchange
from advisor.timeline.side import Side, timeline_of
from advisor.units import FOREVER

__all__ = ["Outcome", "outcome_of"]


class Outcome(Struct, kw_only=True):
    """Damage in points, advantage in frames (mine, +: I am free first), distance in micro-units.

    ``their_punish`` and ``my_punish`` are the first active frames of the fastest attack that
    reaches afterwards, with its name, ``they_can_punish`` and ``i_can_punish`` whether it is fast enough.
    ``wall`` and ``floor`` are the effects on the side that is struck (``UPRIGHT``: none), ``added`` and
    ``added_taken`` the damage that they add to what is dealt and taken; ``wall_if_near`` and
    ``floor_if_breaks`` the effects that hang on surroundings which nobody has told. ``lethal`` and
    ``they_are_lethal``: the damage is all the health that is left. ``hangs`` are the parts of the question
    that matter here, ``unsaid`` those that are not given, ``unread`` the options whose effect is not recorded.
    ``None``: unknown, or it does not apply.
    """

    dealt: float | None = None
    taken: float | None = None
    advantage: int | None = None
    distance: int | None = None
    knockdown: str | None = None
    catch: str | None = None
    their_punish: int | None = None
    they_can_punish: bool | None = None
    my_punish: int | None = None
    i_can_punish: bool | None = None
    their_punish_name: str | None = None
    my_punish_name: str | None = None
    wall: str | None = None
    floor: str | None = None
    added: float | None = None
    added_taken: float | None = None
    wall_if_near: str | None = None
    floor_if_breaks: str | None = None
    lethal: bool | None = None
    they_are_lethal: bool | None = None
    hangs: frozenset[str] = frozenset()
    unsaid: frozenset[str] = frozenset()
    unread: frozenset[str] = frozenset()


def outcome_of(situation: Situation, me: Side, them: Side, exchange: Exchange) -> Outcome:
    """What the exchange leaves; all unknown when the exchange is not decided."""
    out = Outcome()
    if not exchange.decided:
        return out
    if exchange.by == "me":
        _landed(out, situation, me, them, exchange, exchange.mine, 1)
    elif exchange.by == "them":
        _landed(out, situation, them, me, exchange, exchange.theirs, -1)
    elif exchange.effect == "trade":
        _trade(out, situation, (me, exchange.mine), (them, exchange.theirs))
    elif exchange.by == "none":
        _nothing(out)
        out.distance = _apart(situation, me, them)
        ours, other = _free_again(me, them), _free_again(them, me)
        if ours is not None and other is not None:
            out.advantage = other - ours
            if out.advantage:
                late, at = (me, other) if out.advantage < 0 else (them, ours)
                struck = None if timeline_of(late.option).plain_body else late
                _punishes(out, situation, out.advantage, struck, at)
        elif _idle(me) and _idle(them):
            out.they_can_punish = out.i_can_punish = False
    else:
        _nothing(out)
    if out.advantage is not None and out.they_can_punish is None and out.i_can_punish is None:
        _punishes(out, situation, out.advantage)
    return out


def _nothing(out: Outcome) -> None:
    """Neither side is struck."""
    out.dealt = out.taken = out.added = out.added_taken = 0.0
    out.wall = out.floor = UPRIGHT
    out.lethal = out.they_are_lethal = False


def _apart(situation: Situation, me: Side, them: Side) -> int | None:
    """The distance once the first of the two is free, with all that both have moved by then; micro-units."""
    mine, theirs = timeline_of(me.option), timeline_of(them.option)
    if situation.distance is None or None in (mine.moves, theirs.moves):
        return None
    if not mine.moves and not theirs.moves:
        return situation.distance
    ours, other = _free_again(me, them), _free_again(them, me)
    if ours is None or other is None:
        return None
    frame = min(ours, other)
    return situation.distance - mine.moved(frame - me.begins) - theirs.moved(frame - them.begins)


def _idle(side: Side) -> bool:
    """It neither attacks nor parries, so there is nothing to punish."""
    return side.option.kind in ("guard", "movement")


def _free_again(side: Side, other: Side) -> int | None:
    """The common frame on which a side is free when nothing has touched; None: unknown, or no such frame.

    Whoever holds an option (a guard, a crouch) lets go once the other's attack or parry has passed.
    """
    over = side.over()
    if over is None or over < FOREVER:
        return over
    threat = timeline_of(other.option).last_stop
    return None if threat is None else max(side.begins, other.begins + threat - 1)


def _hit(side: Side, contact: Contact | None) -> Hit | None:
    return side.option.hits[contact.hit] if contact is not None else None


_Strike = tuple[Side, Contact | None]


def _trade(out: Outcome, situation: Situation, mine: _Strike, theirs: _Strike) -> None:
    """Both are struck, each where it stands."""
    for (side, contact), is_mine in ((mine, True), (theirs, False)):
        hit = _hit(side, contact)
        if hit is None:
            continue
        leaves = hit.leaves_hit
        if contact is not None and contact.effect == "counter_hit":
            leaves = hit.leaves_counter_hit
        plain = Way(damage=hit.damage, advantage=None, knockdown=None, distance=None)
        _count(out, situation, _surrounded(situation, side.option, leaves, plain, is_mine), is_mine)
    # Which of the two stands at what is told by the damage alone.
    out.wall = out.floor = out.wall_if_near = out.floor_if_breaks = None


def _surrounded(situation: Situation, option: Move, leaves: Leaves | None, plain: Way, mine: bool) -> Landing:
    """How a hit ends on the other side, where that stands; an option that asks for a wall has one."""
    around = situation.around_them if mine else situation.around_me
    if option.requires is not None and option.requires.near_wall and around.wall is None:
        around = Around(wall=True, floor=around.floor)
    return landing_of(situation.pack.conventions, around, leaves, plain)


def _count(out: Outcome, situation: Situation, landing: Landing, mine: bool) -> None:
    """Damage and effects of a hit of mine (or theirs), and what of the question they hang on."""
    sure = landing.sure
    names = {"wall": "me.near_wall" if mine else "them.near_wall", "floor": "floor_breaks"}
    out.wall, out.floor = sure.wall, sure.floor
    if mine:
        out.dealt, out.added, out.lethal = sure.damage, sure.added, landing.takes(situation.their_health)
    else:
        out.taken, out.added_taken = sure.damage, sure.added
        out.they_are_lethal = landing.takes(situation.my_health)
    out.hangs |= {names[place] for place in landing.asks}
    out.unsaid |= {names[place] for place in landing.unsaid}
    out.unread |= {"mine" if mine else "theirs"} if landing.unread else set()
    if "wall" in landing.unsaid - landing.unread:
        out.wall_if_near = landing.ways[-1].wall
    if "floor" in landing.unsaid - landing.unread:
        out.floor_if_breaks = landing.ways[-1].floor


def _landed(
    out: Outcome,
    situation: Situation,
    striker: Side,
    struck: Side,
    exchange: Exchange,
    contact: Contact | None,
    sign: int,
) -> None:
    """One attack decides: fill in for me (sign +1) or them (-1) as the striker."""
    hit = _hit(striker, contact)
    if hit is None or contact is None:
        return
    if exchange.effect == "parried":
        _caught(out, situation, struck, hit, sign)
        return
    lag = 0
    if exchange.frame is not None and hit.first_active is not None:
        lag = exchange.frame - striker.begins - hit.first_active
    lead, push, leaves, damage = _leaves(hit, exchange.effect)
    extra = leaves.distance if leaves else None
    distance = None
    if contact.distance is not None and push is not None and extra is not None:
        distance = contact.distance + push + extra
    plain = Way(
        damage=damage, advantage=lead, knockdown=leaves.knockdown if leaves else None, distance=distance
    )
    landing = _surrounded(situation, striker.option, leaves, plain, sign > 0)
    _ends(out, situation, landing, sign, lag)


def _ends(out: Outcome, situation: Situation, landing: Landing, sign: int, lag: int = 0) -> None:
    """One side alone is struck, mine being the striker with sign +1; ``lag`` frames into its active window."""
    sure = landing.sure
    _nothing(out)
    _count(out, situation, landing, sign > 0)
    out.advantage = None if sure.advantage is None else sign * (sure.advantage + lag)
    out.knockdown, out.distance = sure.knockdown, sure.distance


def _leaves(hit: Hit, effect: str) -> tuple[int | None, int | None, Leaves | None, float | None]:
    if effect == "blocked":
        return hit.on_block, hit.pushback_block, hit.leaves_block, hit.chip
    if effect == "counter_hit":
        return hit.on_counter_hit, hit.pushback_hit, hit.leaves_counter_hit, hit.damage
    return hit.on_hit, hit.pushback_hit, hit.leaves_hit, hit.damage


def _caught(out: Outcome, situation: Situation, catcher: Side, hit: Hit, sign: int) -> None:
    """The attack ran into a parry: what that catch leads to, for the catcher's side."""
    found = catch_outcome(catcher.option, hit)
    if found is None:
        return
    left = found.leaves
    plain = Way(
        damage=found.damage, advantage=found.advantage,
        knockdown=left.knockdown if left else None, distance=left.distance if left else None,
    )
    _ends(out, situation, _surrounded(situation, catcher.option, left, plain, sign < 0), -sign)
    out.catch = found.name


def catch_outcome(move: Move, hit: Hit) -> CatchOutcome | None:
    """The first outcome of the parry whose set holds the attack; None when that is unknown."""
    for window in move.parry or ():
        if not caught_by(window.catches, hit):
            continue
        for outcome in window.outcomes:
            inside = caught_by(outcome.of, hit)
            if inside is None:
                return None
            if inside:
                return outcome
    return None


def _punishes(
    out: Outcome, situation: Situation, lead: int, struck: Side | None = None, at: int = 0
) -> None:
    """Whether the side that is free first has an attack that is fast enough and reaches.

    ``struck`` is the side to be punished where its option still shapes its body; ``at`` is the common
    frame on which the other is free.
    """
    out.they_can_punish = out.i_can_punish = False
    if lead == 0:
        return
    character = situation.me if lead > 0 else situation.them
    speed, can, name = fastest(situation, character, out.distance, abs(lead), struck, at)
    if lead > 0:
        out.my_punish, out.i_can_punish, out.my_punish_name = speed, can, name
    else:
        out.their_punish, out.they_can_punish, out.their_punish_name = speed, can, name


_Attack = tuple[int, int | None, str | None, str]
_FASTEST: dict[int, tuple[Character, list[_Attack]]] = {}
_KEEP = 5_000


def fastest(
    situation: Situation,
    character: Character,
    distance: int | None,
    frames: int,
    struck: Side | None = None,
    at: int = 0,
) -> tuple[int | None, bool | None, str | None]:
    """The fastest free strike that reaches ``distance``: its first active frame, if it is in time, its name.

    All None when an attack of unknown reach (or any, at an unknown distance) could be in time. With
    ``struck`` the level has to hit the posture of that side and get past its guard on the frame of contact.
    Units: distance in micro-units, frames as ``frames`` to be in time.
    """
    kept = _FASTEST.get(id(character))
    if kept is None or kept[0] is not character:
        if len(_FASTEST) > _KEEP:
            _FASTEST.clear()
        kept = _FASTEST[id(character)] = (character, _speeds(situation, character))
    open_ = False
    for speed, reach, level, name in kept[1]:
        if speed > frames:
            return (None, None, None) if open_ else (speed, False, name)
        if reach is not None and distance is not None and reach < distance:
            continue
        lands = True if struck is None else _lands(situation, level, struck, at + speed)
        if lands is False:
            continue
        if lands is None or reach is None or distance is None:
            open_ = True
        else:
            return speed, True, name
    return (None, None, None) if open_ else (None, False, None)


def _lands(situation: Situation, level: str | None, struck: Side, frame: int) -> bool | None:
    """Whether a strike of that level hits the body on that frame and is not blocked."""
    if level is None:
        return None
    known = situation.pack.conventions.levels[level]
    body = Body(situation.pack.conventions, struck, frame, "")
    hits = {posture in known.hits for posture, _ in body.postures()}
    stopped = {bool(known.blocked_by & guards) for guards, _ in body.guards()}
    if hits == {False} or stopped == {True}:
        return False
    return True if hits == {True} and stopped == {False} else None


def _speeds(situation: Situation, character: Character) -> list[_Attack]:
    """Speed, reach and level of every strike that is free to use, fastest first."""
    levels = situation.pack.conventions.levels
    out: list[_Attack] = []
    for move in character.moves.values():
        if not move.hits or move.requires is not None or move.cost or move.wakes_from:
            continue
        hit = move.hits[0]
        level = levels.get(hit.level or "")
        if level is not None and level.kind == "throw":
            continue
        # A first active frame that is unknown may be any, so it counts as the earliest, of unknown reach.
        timing = (1, None) if hit.first_active is None else (hit.first_active, hit.reach)
        out.append((*timing, hit.level, move.name))
    return sorted(out, key=lambda attack: (attack[0], -(attack[1] or 0)))
