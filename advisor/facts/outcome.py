"""What an exchange costs and leaves: damage, advantage, distance, knockdown, and who can punish."""

from __future__ import annotations

from msgspec import Struct

from advisor.facts.situation import Situation
from advisor.pack.model import CatchOutcome, Character, Hit, Leaves, Move
from advisor.timeline.body import Body, caught_by
from advisor.timeline.exchange import Contact, Exchange
from advisor.timeline.side import Side, timeline_of
from advisor.units import FOREVER

__all__ = ["Outcome", "outcome_of"]


class Outcome(Struct, kw_only=True):
    """Damage in points, advantage in frames (mine, +: I am free first), distance in micro-units.

    ``their_punish`` and ``my_punish`` are the first active frames of the fastest attack that
    reaches afterwards, ``they_can_punish`` and ``i_can_punish`` whether it is fast enough.
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


def outcome_of(situation: Situation, me: Side, them: Side, exchange: Exchange) -> Outcome:
    """What the exchange leaves; all unknown when the exchange is not decided."""
    out = Outcome()
    if not exchange.decided:
        return out
    if exchange.by == "me":
        _landed(out, me, them, exchange, exchange.mine, 1)
    elif exchange.by == "them":
        _landed(out, them, me, exchange, exchange.theirs, -1)
    elif exchange.effect == "trade":
        out.dealt, out.taken = _damage(me, exchange.mine), _damage(them, exchange.theirs)
    elif exchange.by == "none":
        out.dealt = out.taken = 0.0
        out.distance = situation.distance
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
        out.dealt = out.taken = 0.0
    if out.advantage is not None and out.they_can_punish is None and out.i_can_punish is None:
        _punishes(out, situation, out.advantage)
    return out


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


def _damage(side: Side, contact: Contact | None) -> float | None:
    hit = _hit(side, contact)
    return hit.damage if hit else None


def _landed(
    out: Outcome,
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
        _caught(out, struck, hit, sign)
        return
    lag = 0
    if exchange.frame is not None and hit.first_active is not None:
        lag = exchange.frame - striker.begins - hit.first_active
    lead, push, leaves, damage = _leaves(hit, exchange.effect)
    if sign > 0:
        out.dealt, out.taken = damage, 0.0
    else:
        out.dealt, out.taken = 0.0, damage
    out.advantage = None if lead is None else sign * (lead + lag)
    out.knockdown = leaves.knockdown if leaves else None
    extra = leaves.distance if leaves else None
    if contact.distance is not None and push is not None and extra is not None:
        out.distance = contact.distance + push + extra


def _leaves(hit: Hit, effect: str) -> tuple[int | None, int | None, Leaves | None, float | None]:
    if effect == "blocked":
        return hit.on_block, hit.pushback_block, hit.leaves_block, hit.chip
    if effect == "counter_hit":
        return hit.on_counter_hit, hit.pushback_hit, hit.leaves_counter_hit, hit.damage
    return hit.on_hit, hit.pushback_hit, hit.leaves_hit, hit.damage


def _caught(out: Outcome, catcher: Side, hit: Hit, sign: int) -> None:
    """The attack ran into a parry: what that catch leads to, for the catcher's side."""
    found = catch_outcome(catcher.option, hit)
    if found is None:
        return
    if sign > 0:
        out.dealt, out.taken = 0.0, found.damage
    else:
        out.dealt, out.taken = found.damage, 0.0
    out.advantage = None if found.advantage is None else -sign * found.advantage
    out.knockdown = found.leaves.knockdown if found.leaves else None
    out.distance = found.leaves.distance if found.leaves else None
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
    speed, can = fastest(situation, character, out.distance, abs(lead), struck, at)
    if lead > 0:
        out.my_punish, out.i_can_punish = speed, can
    else:
        out.their_punish, out.they_can_punish = speed, can


_Attack = tuple[int, int | None, str | None]
_FASTEST: dict[int, tuple[Character, list[_Attack]]] = {}
_KEEP = 5_000


def fastest(
    situation: Situation,
    character: Character,
    distance: int | None,
    frames: int,
    struck: Side | None = None,
    at: int = 0,
) -> tuple[int | None, bool | None]:
    """The fastest free strike that reaches ``distance``: its first active frame, and if it is in time.

    Both None when an attack of unknown reach (or any, at an unknown distance) could be in time. With
    ``struck`` the level has to hit the posture of that side and get past its guard on the frame of contact.
    Units: distance in micro-units, frames as ``frames`` to be in time.
    """
    kept = _FASTEST.get(id(character))
    if kept is None or kept[0] is not character:
        if len(_FASTEST) > _KEEP:
            _FASTEST.clear()
        kept = _FASTEST[id(character)] = (character, _speeds(situation, character))
    open_ = False
    for speed, reach, level in kept[1]:
        if speed > frames:
            return (None, None) if open_ else (speed, False)
        if reach is not None and distance is not None and reach < distance:
            continue
        lands = True if struck is None else _lands(situation, level, struck, at + speed)
        if lands is False:
            continue
        if lands is None or reach is None or distance is None:
            open_ = True
        else:
            return speed, True
    return (None, None) if open_ else (None, False)


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
        if not move.hits or move.requires is not None or move.wakes_from:
            continue
        hit = move.hits[0]
        level = levels.get(hit.level or "")
        if level is not None and level.kind == "throw":
            continue
        # A first active frame that is unknown may be any, so it counts as the earliest, of unknown reach.
        out.append((1, None, hit.level) if hit.first_active is None else (hit.first_active, hit.reach, hit.level))
    return sorted(out, key=lambda attack: (attack[0], -(attack[1] or 0)))
