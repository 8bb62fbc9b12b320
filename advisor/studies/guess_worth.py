"""What an exchange is worth to me: damage for less damage against, and what the next situation brings."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from msgspec import Struct

from advisor.facts import Pair, Situation
from advisor.pack.model import UPRIGHT, Character, Conventions

__all__ = ["After", "Priced", "Stated", "Worth", "after_of", "damage_worth", "punish_damage"]


class After(Struct, frozen=True, kw_only=True):
    """The situation that an exchange leaves.

    ``advantage`` in frames (mine: +), ``distance`` in micro-units (None: unknown), ``floored`` who lies on the
    ground (me, them or nobody), ``state`` its knockdown state, ``held`` what holds the later side.
    """

    advantage: int
    distance: int | None
    floored: str
    state: str
    held: str


class Priced(Struct, frozen=True, kw_only=True):
    """What a pair is worth: ``value`` is ``dealt`` less ``taken`` less the meter's worth plus ``further``.

    Units: points of damage. ``value`` None: unknown, and ``lacks`` says what of it.
    """

    value: float | None
    dealt: float | None = None
    taken: float | None = None
    further: float | None = None
    lacks: str = ""


class Stated(Struct, frozen=True, kw_only=True):
    """What the one who asks says the next situation is worth, in points, beside what is worked out."""

    frame: float = 0.0
    knockdown: Mapping[str, float] = {}
    meter: float = 0.0


Worth = Callable[[Pair], Priced]
Further = Callable[[After], float | None]


def after_of(pair: Pair) -> After | None:
    """The situation that the exchange of ``pair`` leaves; None when its advantage is unknown."""
    exchange, outcome = pair.exchange, pair.outcome
    if exchange is None or outcome is None or outcome.advantage is None:
        return None
    striker = exchange.by
    if exchange.effect == "parried":
        striker = "them" if exchange.by == "me" else "me"
    struck = {"me": "them", "them": "me"}.get(striker, "nobody")
    down = outcome.knockdown not in (None, UPRIGHT)
    later = "me" if outcome.advantage < 0 else "them"
    stun = "blockstun" if exchange.effect == "blocked" else "hitstun"
    return After(
        advantage=outcome.advantage, distance=outcome.distance, floored=struck if down else "nobody",
        state=outcome.knockdown or "" if down else "", held=stun if later == struck else "recovery",
    )  # fmt: skip


def damage_worth(further: Further | None, stated: Stated) -> Worth:
    """Damage for less damage against, plus what ``further`` says of the situation that is left.

    Without ``further`` only what ``stated`` names counts beside the damage.
    """

    def worth(pair: Pair) -> Priced:
        exchange, outcome = pair.exchange, pair.outcome
        if exchange is None or outcome is None or not exchange.decided:
            return Priced(value=None, lacks="the exchange")
        dealt, taken = _damage(pair)
        if dealt is None or taken is None:
            return Priced(value=None, dealt=dealt, taken=taken, lacks="the damage")
        cost = stated.meter * (pair.mine.move.cost or 0)
        after = after_of(pair)
        if after is None:
            if exchange.by in ("me", "them") and (further is not None or stated.frame):
                return Priced(value=None, dealt=dealt, taken=taken, lacks="the advantage that is left")
            return Priced(value=dealt - taken - cost, dealt=dealt, taken=taken, further=0.0)
        more = _stated(after, stated)
        if further is not None:
            found = further(after)
            if found is None:
                return Priced(value=None, dealt=dealt, taken=taken, lacks="what the situation that is left is worth")
            more += found
        return Priced(value=dealt - taken - cost + more, dealt=dealt, taken=taken, further=more)

    return worth


def _damage(pair: Pair) -> tuple[float | None, float | None]:
    """Damage dealt and taken; a break costs nobody anything."""
    assert pair.exchange is not None and pair.outcome is not None
    if pair.exchange.effect == "break":
        return 0.0, 0.0
    return pair.outcome.dealt, pair.outcome.taken


def _stated(after: After, stated: Stated) -> float:
    sign = {"me": -1.0, "them": 1.0}.get(after.floored, 0.0)
    return stated.frame * after.advantage + sign * stated.knockdown.get(after.state, 0.0)


def punish_damage(situation: Situation, after: After) -> float | None:
    """What the side that is free first takes for certain from the other: its best punish, signed for me.

    A strike of which speed, reach and damage are recorded counts when it touches before the other can act, reaches,
    and its level hits somebody who stands. 0 on the ground and when nothing is in time; None when the distance is
    unknown and decides. Unit: points.
    """
    if after.floored != "nobody" or after.advantage == 0:
        return 0.0
    first = situation.me if after.advantage > 0 else situation.them
    strikes = _strikes(first, situation.pack.conventions, abs(after.advantage))
    if not strikes:
        return 0.0
    if after.distance is None:
        return None
    best = max((damage for reach, damage in strikes if reach >= after.distance), default=0.0)
    return best if after.advantage > 0 else -best


_STRIKES: dict[int, tuple[Character, list[tuple[int, int, float]]]] = {}
_KEEP = 5_000


def _strikes(character: Character, conventions: Conventions, frames: int) -> list[tuple[int, float]]:
    """Reach (micro-units) and damage of the free strikes that are in time; kept by the character's identity."""
    kept = _STRIKES.get(id(character))
    if kept is None or kept[0] is not character:
        if len(_STRIKES) > _KEEP:
            _STRIKES.clear()
        kept = _STRIKES[id(character)] = (character, list(_free_strikes(character, conventions)))
    return [(reach, damage) for speed, reach, damage in kept[1] if speed <= frames]


def _free_strikes(character: Character, conventions: Conventions) -> list[tuple[int, int, float]]:
    out = []
    for move in character.moves.values():
        hit = move.hits[0] if move.hits else None
        if hit is None or move.requires is not None or move.wakes_from or move.cost:
            continue
        level = conventions.levels.get(hit.level or "")
        if level is None or level.kind == "throw" or "standing" not in level.hits:
            continue
        if hit.first_active is not None and hit.reach is not None and hit.damage is not None:
            out.append((hit.first_active, hit.reach, hit.damage))
    return out
