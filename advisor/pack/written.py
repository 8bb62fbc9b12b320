"""The written form of a pack: what people edit in ``pack.yaml`` and ``characters/<id>.yaml``.

The keys of a move are in ``advisor.pack.written_move``; the same conventions hold here: every key
says what it means, its unit and its bounds, and absent, ``unknown`` and ``null`` mean unknown.
"""

from __future__ import annotations

from typing import Annotated, Literal, TypeAlias

from msgspec import UNSET, Meta, UnsetType

from advisor.pack.written_move import (
    MAX_MOVES,
    Absent,
    Frame,
    Id,
    Ids,
    Length,
    Line,
    Name,
    Points,
    Prose,
    Signed,
    Unknown,
    Written,
    WrittenCatch,
    WrittenMove,
)

__all__ = [
    "MAX_CHARACTERS",
    "WrittenBlockstun",
    "WrittenBreak",
    "WrittenCharacter",
    "WrittenDistances",
    "WrittenEffect",
    "WrittenGuardStance",
    "WrittenLevel",
    "WrittenPack",
    "WrittenSameFrame",
    "WrittenThrows",
]

MAX_CHARACTERS = 200

Phase: TypeAlias = Literal["startup", "active", "recovery"]
AnyPhase: TypeAlias = Literal[
    "free", "guarding", "moving", "startup", "active", "recovery", "blockstun", "hitstun"
]
Posture: TypeAlias = Literal["standing", "crouching", "airborne", "grounded"]
Verdict: TypeAlias = Literal["trade", "first", "second", "break"]
MayBeNone: TypeAlias = Literal[
    "airborne",
    "crouching",
    "invulnerable",
    "armour",
    "parry",
    "sidestep",
    "displacement",
    "counter_state",
    "follow_ups",
    "leaves",
    "breaks",
    "tracking",
    "cost",
    "requires",
    "tags",
]


class WrittenDistances(Written, frozen=True):
    """The pack's unit of distance and the distances that have a name."""

    unit: Annotated[Name, Meta(description="Name of the unit, one of it.")] = "unit"
    named: Annotated[dict[str, Length], Meta(description="Name to distance in that unit.")] = {}


class WrittenLevel(Written, frozen=True):
    """A hit level: the postures it hits, and the guards that block it."""

    hits: Annotated[list[Posture], Meta(min_length=1, description="Postures it can touch.")]
    blocked_by: Annotated[Ids, Meta(description="Guards that block it; none of them when empty.")]
    kind: Annotated[Literal["strike", "throw"], Meta(description="Its row in the same-frame table.")] = (
        "strike"
    )


class WrittenGuardStance(Written, frozen=True):
    """A guard: the posture its user blocks in."""

    posture: Annotated[Literal["standing", "crouching"], Meta(description="Posture while blocking.")]


class WrittenSameFrame(Written, frozen=True):
    """What happens when both touch on one frame; `first` lets the side named first win."""

    strike_strike: Annotated[Verdict, Meta(description="A strike meets a strike.")] = "trade"
    strike_throw: Annotated[Verdict, Meta(description="A strike meets a throw.")] = "first"
    throw_strike: Annotated[Verdict, Meta(description="A throw meets a strike.")] = "second"
    throw_throw: Annotated[Verdict, Meta(description="A throw meets a throw.")] = "break"


class WrittenBreak(Written, frozen=True):
    """One way to break throws."""

    input: Annotated[Line | Absent, Meta(description="How it is entered.")] = UNSET
    window: Annotated[Frame | Unknown, Meta(description="Frames after the contact in which it counts.")] = (
        UNSET
    )


class WrittenThrows(Written, frozen=True):
    """How throws are broken."""

    breaks: Annotated[dict[str, WrittenBreak], Meta(description="Id to the way of breaking.")] = {}
    breakable_in: Annotated[
        list[AnyPhase] | Unknown, Meta(description="Phases of the thrown side in which it can break.")
    ] = UNSET


class WrittenBlockstun(Written, frozen=True):
    """What holds while a side is in blockstun."""

    immune_to: Annotated[
        WrittenCatch | None, Meta(description="Attacks that cannot touch a side in blockstun.")
    ] = None


class WrittenKnockdown(Written, frozen=True):
    """A knockdown state."""

    meaning: Annotated[Line | Absent, Meta(description="What it means.")] = UNSET
    posture: Annotated[
        Literal["grounded", "airborne"], Meta(description="Posture until a wake-up option begins.")
    ] = "grounded"
    wake_ups: Annotated[
        Annotated[list[str], Meta(max_length=MAX_MOVES)],
        Meta(description="Ids of the pack's `wake_ups` that are possible out of it."),
    ] = []


class WrittenEffect(Written, frozen=True):
    """What a wall or a floor makes of a hit; a key left out changes nothing, `unknown` is not known."""

    meaning: Annotated[Line | Absent, Meta(description="What happens, in words.")] = UNSET
    damage: Annotated[Points | Unknown, Meta(description="Damage on top of the hit's own.")] = UNSET
    advantage: Annotated[
        Signed | Unknown, Meta(description="Frames by which the striker is free first, instead of the hit's own.")
    ] = UNSET
    knockdown: Annotated[
        str | UnsetType | None,
        Meta(description="State it leaves instead of the hit's own, one of the pack's `knockdowns`, or `none`."),
    ] = UNSET
    distance: Annotated[
        Length | Unknown, Meta(description="Distance between the two afterwards, in the pack's unit.")
    ] = UNSET


class WrittenPack(Written, frozen=True):
    """A pack's conventions: how its game reads numbers, and what code must not decide."""

    format: Annotated[Literal[1], Meta(description="Version of this file format.")]
    id: Annotated[Id, Meta(description="The pack's id; the folder has the same name.")]
    levels: Annotated[dict[str, WrittenLevel], Meta(min_length=1, description="Id to hit level.")]
    name: Annotated[Name | Absent, Meta(description="What the game is called; the id when left out.")] = UNSET
    version: Annotated[Name | Absent, Meta(description="Version of the data, as text.")] = UNSET
    about: Annotated[Prose | Absent, Meta(description="What it is, for people.")] = UNSET
    frame_rate: Annotated[
        Annotated[float, Meta(gt=0, le=1000)], Meta(description="Frames in a second; 60 when left out.")
    ] = 60.0
    startup_counts: Annotated[
        Literal["first_active", "before_active"],
        Meta(description="Whether `startup` includes the first active frame, or only the frames before it."),
    ] = "first_active"
    distance: Annotated[WrittenDistances, Meta(description="Unit and named distances.")] = WrittenDistances()
    guards: Annotated[
        dict[str, WrittenGuardStance] | None,
        Meta(description="Id to guard; standing and crouching when left out."),
    ] = None
    same_frame: Annotated[WrittenSameFrame, Meta(description="The same-frame table.")] = WrittenSameFrame()
    counter_hit: Annotated[
        list[Phase] | UnsetType,
        Meta(
            description="Phases of an attack or parry in which a hit on its user is a counter-hit; startup "
            "when left out."
        ),
    ] = UNSET
    throws: Annotated[WrittenThrows, Meta(description="How throws are broken.")] = WrittenThrows()
    blockstun: Annotated[WrittenBlockstun, Meta(description="What holds in blockstun.")] = WrittenBlockstun()
    tags: Annotated[dict[str, Line | None], Meta(description="Every tag in use, and what it means.")] = {}
    knockdowns: Annotated[
        dict[str, Line | WrittenKnockdown | None],
        Meta(description="Every knockdown state in use: what it means, or that and its wake-up options."),
    ] = {}
    wall_effects: Annotated[
        dict[str, WrittenEffect], Meta(description="Id to what a hit can do to a side near a wall.")
    ] = {}
    floor_effects: Annotated[
        dict[str, WrittenEffect], Meta(description="Id to what a hit can do on a floor that breaks.")
    ] = {}
    wake_ups: Annotated[
        Annotated[list[WrittenMove], Meta(max_length=MAX_MOVES)],
        Meta(description="The wake-up options that every fighter has."),
    ] = []
    none_when_absent: Annotated[
        list[MayBeNone],
        Meta(description="Properties whose absence in a move means that it has none; others are unknown."),
    ] = []
    system: Annotated[
        Annotated[list[WrittenMove], Meta(max_length=MAX_MOVES)],
        Meta(description="The options that every fighter has."),
    ] = []


class WrittenCharacter(Written, frozen=True):
    """One fighter and its moves."""

    id: Annotated[Id, Meta(description="The character's id; the file has the same name.")]
    moves: Annotated[
        Annotated[list[WrittenMove], Meta(min_length=1, max_length=MAX_MOVES)],
        Meta(description="The character's own moves."),
    ]
    name: Annotated[Name | Absent, Meta(description="What it is called; the id when left out.")] = UNSET
    about: Annotated[Prose | Absent, Meta(description="What it is, for people.")] = UNSET
    health: Annotated[Points | Unknown, Meta(description="Points of health at the start of a round.")] = UNSET
    key_moves: Annotated[
        Annotated[list[Id], Meta(max_length=MAX_MOVES)],
        Meta(description="Ids of the moves a player meets first."),
    ] = []
