"""A small pack made by hand: two boat builders, every number of theirs chosen for a check."""

from __future__ import annotations

from typing import Any

import msgspec

from advisor.pack.model import (
    UPRIGHT,
    Catch,
    CatchOutcome,
    Character,
    Conventions,
    Displacement,
    FollowUp,
    Guard,
    Hit,
    Leaves,
    Level,
    Move,
    Pack,
    Parry,
    Requires,
    Sidestep,
    ThrowBreak,
)
from advisor.studies.beats import Beats, BeatsAnswer, beats
from advisor.studies.beats_answer import AnswerRow
from advisor.units import FOREVER, Span, to_micro
from tests.unit.advice.demo import shelf

__all__ = ["PARRY", "answered", "changed", "followed", "later", "move", "pack_of", "rows", "strike"]

ALWAYS = Span(1, FOREVER)
BOTH = frozenset({"standing", "crouching"})
NONE: dict[str, Any] = {
    "airborne": (), "crouching": (), "invulnerable": (), "armour": (), "parry": (), "sidestep": (), "displacement": (),
    "counter_state": (),
}
CONVENTIONS = Conventions(
    distance_unit="plank",
    distances={"near": 0, "two": to_micro(2)},
    levels={
        "high": Level(id="high", hits=frozenset({"standing", "airborne"}), blocked_by=frozenset({"standing"})),
        "mid": Level(
            id="mid", hits=frozenset({"standing", "crouching", "airborne"}), blocked_by=frozenset({"standing"})
        ),
        "low": Level(id="low", hits=frozenset({"standing", "crouching"}), blocked_by=frozenset({"crouching"})),
        "throw": Level(id="throw", hits=frozenset({"standing"}), blocked_by=frozenset(), kind="throw"),
        "unblockable": Level(
            id="unblockable", hits=frozenset({"standing", "crouching", "airborne"}), blocked_by=frozenset()
        ),
    },
    counter_hit=frozenset({"startup"}),
    breakable_in=frozenset({"free", "guarding", "moving"}),
    throw_breaks={"push": ThrowBreak(id="push", input="hand", window=14)},
)


def move(key: str, **known: Any) -> Move:
    """A move of which everything is known: what is not said, it has not."""
    return Move(**{"id": key, "name": key.replace("_", " ").title(), "kind": "movement", **NONE, **known})


def strike(key: str, first: int = 10, *, total: int = 30, body: dict[str, Any] | None = None, **hit: Any) -> Move:
    """An attack active on two frames from ``first`` on; ``hit`` are fields of its hit, reach in units."""
    reach = hit.pop("reach", 1.0)
    upright = Leaves(knockdown=UPRIGHT, distance=0)
    given = {
        "first_active": first, "active_stop": first + 2, "level": "mid", "damage": 10.0, "chip": 0.0,
        "tags": frozenset({"hand"}), "tracks": frozenset({"left", "right"}), "breaks": frozenset(), "on_block": -10,
        "on_hit": 5, "on_counter_hit": 5, "blockstun": 14, "pushback_block": 0, "pushback_hit": 0,
        "leaves_block": upright, "leaves_hit": upright, "leaves_counter_hit": upright, **hit,
    }
    one = Hit(reach=None if reach is None else to_micro(reach), **given)
    return move(key, kind="attack", total=total, hits=(one,), **(body or {}))


def followed(parent: Move, *children: tuple[Move, int, int]) -> Move:
    """The move with follow-ups that arrive between two frames (both included) after its contact."""
    ways = tuple(FollowUp(move=child.id, arrives=Span(first, last + 1)) for child, first, last in children)
    return msgspec.structs.replace(parent, follow_ups=ways)


def changed(one: Move, **hit: Any) -> Move:
    """The move with other fields in its first hit."""
    return msgspec.structs.replace(one, hits=(msgspec.structs.replace(one.hits[0], **hit), *one.hits[1:]))


def later(one: Move) -> Move:
    """The move, usable only as a follow-up."""
    return msgspec.structs.replace(one, requires=Requires(follows=True))


PARRY = move(
    "brace", kind="parry", total=34,
    parry=(
        Parry(
            span=Span(2, 11), catches=Catch(tags=frozenset({"hand"})), excepting=Catch(tags=frozenset({"elbow"})),
            outcomes=(
                CatchOutcome(
                    of=Catch(), damage=20.0, advantage=12, name="wrist turned",
                    leaves=Leaves(knockdown="face_down", distance=to_micro(1)),
                ),
            ),
        ),
    ),
)
"""Active on 2 to 10; takes hands, not elbows."""

SYSTEM = (
    move("guard", kind="guard", total=FOREVER, guard=(Guard(span=ALWAYS, guards=BOTH),)),
    move("crouch", total=FOREVER, crouching=(ALWAYS,)),
    move("jump", total=30, airborne=(Span(5, 28),)),
    move("backdash", total=20, displacement=(Displacement(span=Span(1, 11), step=-to_micro(0.1)),)),
    move("step_left", total=22, sidestep=(Sidestep(span=Span(3, 18), side="left"),)),
)


def pack_of(mine: list[Move], theirs: list[Move], *more: Character) -> Pack:
    """The pack with ``ada`` (me) and ``bram`` (them)."""
    fighters = [
        Character(id="ada", name="Ada", health=100.0, moves={m.id: m for m in mine}),
        Character(id="bram", name="Bram", health=100.0, moves={m.id: m for m in theirs}),
        *more,
    ]
    return Pack(
        id="slipway", name="Slipway", version="1", conventions=CONVENTIONS, system={m.id: m for m in SYSTEM},
        characters={one.id: one for one in fighters},
    )


def answered(pack: Pack, **request: Any) -> BeatsAnswer:
    """What beats an option of bram's, answered by ada unless said otherwise; the rules are the core's."""
    at_hand = shelf()
    given = {"them": {"character": "bram"}, "me": {"character": "ada"}, "limit": 200, **request}
    return beats(pack, at_hand.rules, at_hand.evaluator, msgspec.convert(given, Beats))


def rows(answer: BeatsAnswer, when: str | None = None) -> dict[str, AnswerRow]:
    """Rows by option, of one moment or of all."""
    return {row.option: row for row in answer.rows if when is None or row.when == when}
