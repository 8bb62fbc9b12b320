"""The written form of one option (an attack, a parry, a movement, a guard), typed key by key.

Every key says what it means, its unit and its bounds, so that the JSON Schemas made from these
Structs serve an editor for completion and hints. Absent, ``unknown`` and ``null`` all mean unknown;
absent is kept apart (``UNSET``) because a pack may say that an absent property means "has none".
Frames count from 1 and windows are ``[first, last]``, both ends included.
"""

from __future__ import annotations

from typing import Annotated, Literal, TypeAlias

from msgspec import UNSET, Meta, Struct, UnsetType, field

__all__ = [
    "MAX_FRAME",
    "MAX_HITS",
    "MAX_MOVES",
    "MAX_WINDOWS",
    "SLUG",
    "Absent",
    "Count",
    "Frame",
    "FrameOrRange",
    "HitKeys",
    "Id",
    "Ids",
    "LastFrame",
    "Length",
    "Line",
    "Name",
    "NoneOrUnknown",
    "Points",
    "Prose",
    "Share",
    "Shift",
    "Signed",
    "Unknown",
    "Window",
    "Windows",
    "Written",
    "WrittenAdvance",
    "WrittenArmour",
    "WrittenCatch",
    "WrittenFollowUp",
    "WrittenGuard",
    "WrittenHit",
    "WrittenLeaves",
    "WrittenMove",
    "WrittenOutcome",
    "WrittenParry",
    "WrittenPushback",
    "WrittenRequires",
    "WrittenResults",
    "WrittenShield",
    "WrittenSidestep",
]

MAX_MOVES = 400
MAX_HITS = 12
MAX_WINDOWS = 32
MAX_FRAME = 9999
SLUG = "^[a-z][a-z0-9_]{0,63}$"

Unknown: TypeAlias = Literal["unknown"] | UnsetType | None
NoneOrUnknown: TypeAlias = Literal["none", "unknown"] | UnsetType | None
Absent: TypeAlias = UnsetType | None

# The slug pattern is only shown to editors; the loader checks it itself, with a clearer error.
Id: TypeAlias = Annotated[str, Meta(extra_json_schema={"pattern": SLUG})]
Name: TypeAlias = Annotated[str, Meta(min_length=1, max_length=80)]
Line: TypeAlias = Annotated[str, Meta(max_length=400)]
Prose: TypeAlias = Annotated[str, Meta(max_length=4000)]
Count: TypeAlias = Annotated[int, Meta(ge=0, le=MAX_FRAME)]
Frame: TypeAlias = Annotated[int, Meta(ge=1, le=MAX_FRAME)]
Signed: TypeAlias = Annotated[int, Meta(ge=-MAX_FRAME, le=MAX_FRAME)]
Points: TypeAlias = Annotated[float, Meta(ge=0, le=100_000)]
Length: TypeAlias = Annotated[float, Meta(ge=0, le=1000)]
Shift: TypeAlias = Annotated[float, Meta(ge=-1000, le=1000)]
Share: TypeAlias = Annotated[float, Meta(ge=0, le=1)]
Ids: TypeAlias = Annotated[list[Id], Meta(max_length=64)]
LastFrame: TypeAlias = Frame | Literal["held"]
# Lists, not fixed-length tuples: msgspec 0.22 crashes on a bounded number beside a tuple in a union.
Window: TypeAlias = Annotated[
    list[LastFrame],
    Meta(
        min_length=2, max_length=2, title="a window `[first, last]`", extra_json_schema={"x-form": "window"}
    ),
]
Windows: TypeAlias = Annotated[
    list[Frame | Literal["held"] | Window],
    Meta(
        min_length=1,
        max_length=MAX_WINDOWS,
        title="a window `[first, last]` or a list of such windows",
        extra_json_schema={"x-form": "windows"},
    ),
]
FrameOrRange: TypeAlias = (
    Frame | Annotated[list[Frame], Meta(min_length=2, max_length=2, title="a range `[earliest, latest]`")]
)


class Written(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What all written blocks share: unknown keys are refused."""


class WrittenCatch(Written, frozen=True):
    """Attacks by level or tag; with neither list, every attack."""

    levels: Annotated[Ids, Meta(description="Hit levels of the pack.")] = []
    tags: Annotated[Ids, Meta(description="Tags of the pack.")] = []


class WrittenLeaves(Written, frozen=True):
    """What a contact leaves beside advantage."""

    knockdown: Annotated[str | Absent, Meta(description="State of the struck side, one of the `knockdowns`.")] = UNSET
    distance: Annotated[
        Shift | str | Absent,
        Meta(
            description="Distance added between the two, in the pack's unit (negative: nearer), or the "
            "name of one of the pack's distances."
        ),
    ] = UNSET
    wall: Annotated[str | Absent, Meta(description="Near a wall: one of the pack's `wall_effects`, or `none`.")] = UNSET
    floor: Annotated[str | Absent, Meta(description="On breaking floor: one of `floor_effects`, or `none`.")] = UNSET


class WrittenResults(Written, frozen=True):
    """What a hit leaves, by how it ended."""

    hit: Annotated[WrittenLeaves | Unknown, Meta(description="After a hit.")] = UNSET
    counter_hit: Annotated[WrittenLeaves | Unknown, Meta(description="After a counter-hit.")] = UNSET
    block: Annotated[WrittenLeaves | Unknown, Meta(description="After a block.")] = UNSET


class WrittenPushback(Written, frozen=True):
    """Distance added on block and on hit, apart."""

    block: Annotated[
        Shift | Unknown, Meta(description="Distance added when blocked, in the pack's unit.")
    ] = UNSET
    hit: Annotated[Shift | Unknown, Meta(description="Distance added when it hits, in the pack's unit.")] = (
        UNSET
    )


class HitKeys(Written, frozen=True):
    """The keys of one active window."""

    level: Annotated[Id | Absent, Meta(description="Hit level, one of the pack's `levels`.")] = UNSET
    startup: Annotated[
        Count | Unknown,
        Meta(
            description="Frames of startup, counted as the pack's `startup_counts` says: up to and with "
            "the first active frame, or only those before it. From the move's frame 1 for every hit."
        ),
    ] = UNSET
    active: Annotated[Frame | Unknown, Meta(description="Count of active frames, at least 1.")] = UNSET
    damage: Annotated[Points | Unknown, Meta(description="Points of health taken when it hits.")] = UNSET
    chip: Annotated[Points | Unknown, Meta(description="Points of health taken when blocked.")] = UNSET
    reach: Annotated[
        Length | str | Absent,
        Meta(
            description="Farthest distance at which it touches, in the pack's unit, or the name of one of "
            "the pack's distances."
        ),
    ] = UNSET
    tracking: Annotated[
        Literal["left", "right", "both"] | NoneOrUnknown,
        Meta(description="The sides to which it follows a sidestep."),
    ] = UNSET
    breaks: Annotated[
        Ids | NoneOrUnknown, Meta(description="The throw breaks of the pack that break it, or `none`.")
    ] = UNSET
    on_block: Annotated[
        Signed | Unknown,
        Meta(description="Frames of advantage when blocked on its first active frame; + is the attacker's."),
    ] = UNSET
    on_hit: Annotated[
        Signed | Unknown,
        Meta(description="Frames of advantage when it hits on its first active frame; + is the attacker's."),
    ] = UNSET
    on_counter_hit: Annotated[
        Signed | Unknown,
        Meta(description="Frames of advantage on counter-hit; + is the attacker's."),
    ] = UNSET
    blockstun: Annotated[
        Count | Unknown,
        Meta(description="Frames after the contact frame on which the blocking side cannot act."),
    ] = UNSET
    hitstun: Annotated[
        Count | Unknown,
        Meta(description="Frames after the contact frame on which the struck side cannot act."),
    ] = UNSET
    pushback: Annotated[
        Shift | WrittenPushback | Unknown,
        Meta(description="Distance added by the contact, in the pack's unit; apart for block and hit."),
    ] = UNSET
    leaves: Annotated[
        WrittenResults | Unknown, Meta(description="Knockdown, distance, wall and floor effect, by result.")
    ] = UNSET


class WrittenHit(HitKeys, frozen=True):
    """One of several active windows of a move."""

    tags: Annotated[
        Ids | NoneOrUnknown, Meta(description="Tags of this hit; the move's own tags are added.")
    ] = UNSET


class WrittenShield(Written, frozen=True):
    """Frames on which attacks pass through."""

    frames: Annotated[Window, Meta(description="Own frames `[first, last]`; `held` may stand for the last.")]
    levels: Annotated[Ids, Meta(description="Only against these levels.")] = []
    tags: Annotated[Ids, Meta(description="Only against these tags.")] = []


class WrittenArmour(WrittenShield, frozen=True):
    """Frames on which attacks are taken without being stopped."""

    hits: Annotated[
        Annotated[int, Meta(ge=1, le=99)], Meta(description="How many attacks it takes; 1 when left out.")
    ] = 1


class WrittenOutcome(Written, frozen=True):
    """What a catch leads to, for some of the attacks that are caught."""

    of: Annotated[WrittenCatch, Meta(description="The caught attacks it is for; all when left out.")] = (
        WrittenCatch()
    )
    name: Annotated[Name | Absent, Meta(description="What the catch is called.")] = UNSET
    damage: Annotated[Points | Unknown, Meta(description="Points of health it takes.")] = UNSET
    advantage: Annotated[
        Signed | Unknown, Meta(description="Frames of advantage afterwards; + is the catcher's.")
    ] = UNSET
    leaves: Annotated[WrittenLeaves | Unknown, Meta(description="What it leaves the caught side in.")] = UNSET


class WrittenParry(Written, frozen=True):
    """Frames on which attacks are caught."""

    frames: Annotated[Window, Meta(description="Own frames `[first, last]`; `held` may stand for the last.")]
    catches: Annotated[WrittenCatch, Meta(description="What it catches; `{}` is everything.")]
    excepting: Annotated[WrittenCatch | None, Meta(description="What it does not catch all the same.")] = (
        field(name="except", default=None)
    )
    outcomes: Annotated[
        Annotated[list[WrittenOutcome], Meta(max_length=MAX_WINDOWS)],
        Meta(description="What a catch leads to; the first whose `of` holds the attack applies."),
    ] = []


class WrittenGuard(Written, frozen=True):
    """Frames on which the option blocks."""

    frames: Annotated[Window, Meta(description="Own frames `[first, last]`; `held` may stand for the last.")]
    guards: Annotated[Ids, Meta(min_length=1, description="The pack's guards it can block with.")] = field(
        name="with"
    )


class WrittenSidestep(Written, frozen=True):
    """Frames on which attacks that do not track to the side miss."""

    frames: Annotated[Window, Meta(description="Own frames `[first, last]`; `held` may stand for the last.")]
    side: Annotated[Literal["left", "right"], Meta(description="The side stepped to.")]


class WrittenAdvance(Written, frozen=True):
    """Movement over some frames: `forward` or `back`, one of the two."""

    frames: Annotated[Window, Meta(description="Own frames `[first, last]`.")]
    forward: Annotated[
        Length | None, Meta(description="Distance toward the opponent over all these frames, pack's unit.")
    ] = None
    back: Annotated[
        Length | None, Meta(description="Distance away from the opponent over all these frames, pack's unit.")
    ] = None


class WrittenRequires(Written, frozen=True):
    """What must hold to use the move."""

    stance: Annotated[Name | Absent, Meta(description="The stance it is used from.")] = UNSET
    back_turned: Annotated[bool | Unknown, Meta(description="Its user's back must be turned.")] = UNSET
    near_wall: Annotated[bool | Unknown, Meta(description="A wall must be near.")] = UNSET
    health_below: Annotated[
        Share | Unknown, Meta(description="Its user's share of health must be below this, 0 to 1.")
    ] = UNSET
    meter: Annotated[Count | Unknown, Meta(description="Meter that must be there, in points.")] = UNSET
    follows: Annotated[bool | Unknown, Meta(description="Usable only as a follow-up of another move.")] = (
        UNSET
    )


class WrittenFollowUp(Written, frozen=True):
    """A move that may follow by itself (string, cancel); states `arrives`, `begins` or both."""

    move: Annotated[Id, Meta(description="Id of the move that follows.")]
    arrives: Annotated[
        FrameOrRange | Unknown,
        Meta(description="Frames from this move's contact (0) to the follow-up's first active, or `[first, last]`."),
    ] = UNSET
    begins: Annotated[
        FrameOrRange | Unknown,
        Meta(description="This move's own frame on which the follow-up's frame 1 falls, or `[first, last]`."),
    ] = UNSET
    on: Annotated[
        Annotated[list[Literal["block", "hit", "counter_hit", "whiff"]], Meta(min_length=1)] | UnsetType,
        Meta(description="Results after which it can be used; all four when left out."),
    ] = UNSET


class WrittenMove(HitKeys, frozen=True):
    """One option: an attack, a parry, a movement or a guard. Has a `name` or an `id`, or both."""

    id: Annotated[Id | Absent, Meta(description="The move's id; made from the name when left out.")] = UNSET
    name: Annotated[Name | Absent, Meta(description="What the move is called.")] = UNSET
    input: Annotated[Line | Absent, Meta(description="How it is entered.")] = UNSET
    kind: Annotated[
        Literal["attack", "parry", "movement", "guard"] | Unknown,
        Meta(
            description="What it is. When left out: parry if it has `parry` and no hits, attack if it has "
            "hit keys, else movement."
        ),
    ] = UNSET
    tags: Annotated[
        Ids | NoneOrUnknown, Meta(description="Tags of the pack; they count for each of its hits.")
    ] = UNSET
    note: Annotated[Prose | Absent, Meta(description="A note for people.")] = UNSET
    source: Annotated[Line | Absent, Meta(description="Where the numbers come from.")] = UNSET
    hits: Annotated[
        Annotated[list[WrittenHit], Meta(min_length=1, max_length=MAX_HITS)] | Unknown,
        Meta(
            description="Several active windows in time order; then the keys of one hit do not stand on the "
            "move itself."
        ),
    ] = UNSET
    recovery: Annotated[Count | Unknown, Meta(description="Frames after the last active one.")] = UNSET
    total: Annotated[
        Frame | Literal["held"] | Unknown,
        Meta(description="Frames in all; its user is free on the next. `held`: as long as it is held."),
    ] = UNSET
    airborne: Annotated[Windows | NoneOrUnknown, Meta(description="Frames off the ground.")] = UNSET
    crouching: Annotated[Windows | NoneOrUnknown, Meta(description="Frames in a crouch.")] = UNSET
    grounded: Annotated[
        Windows | NoneOrUnknown, Meta(description="Frames on the ground, of a wake-up option; none when left out.")
    ] = UNSET
    counter_state: Annotated[
        Windows | NoneOrUnknown,
        Meta(description="Frames on which a hit on its user is a counter-hit, beside the pack's phases."),
    ] = UNSET
    cannot_block: Annotated[
        Windows | NoneOrUnknown,
        Meta(description="Frames of a movement on which its user cannot block; it blocks on all others."),
    ] = UNSET
    invulnerable: Annotated[
        Annotated[list[WrittenShield], Meta(max_length=MAX_WINDOWS)] | NoneOrUnknown,
        Meta(description="Frames on which attacks pass through."),
    ] = UNSET
    armour: Annotated[
        Annotated[list[WrittenArmour], Meta(max_length=MAX_WINDOWS)] | NoneOrUnknown,
        Meta(description="Frames on which attacks are taken without being stopped."),
    ] = UNSET
    parry: Annotated[
        Annotated[list[WrittenParry], Meta(max_length=MAX_WINDOWS)] | NoneOrUnknown,
        Meta(description="Frames on which attacks are caught."),
    ] = UNSET
    guard: Annotated[
        Annotated[list[WrittenGuard], Meta(max_length=MAX_WINDOWS)] | NoneOrUnknown,
        Meta(description="Frames on which it blocks."),
    ] = UNSET
    sidestep: Annotated[
        Annotated[list[WrittenSidestep], Meta(max_length=MAX_WINDOWS)] | NoneOrUnknown,
        Meta(description="Frames on which attacks that do not track to the side miss."),
    ] = UNSET
    displacement: Annotated[
        Annotated[list[WrittenAdvance], Meta(max_length=MAX_WINDOWS)] | NoneOrUnknown,
        Meta(description="Movement toward or away from the opponent."),
    ] = UNSET
    cost: Annotated[Count | NoneOrUnknown, Meta(description="Meter it costs, in points.")] = UNSET
    requires: Annotated[WrittenRequires | NoneOrUnknown, Meta(description="What must hold to use it.")] = (
        UNSET
    )
    wakes_from: Annotated[
        Annotated[list[str], Meta(max_length=MAX_WINDOWS)] | UnsetType,
        Meta(description="Knockdown states out of which the move is a wake-up option."),
    ] = UNSET
    follow_ups: Annotated[
        Annotated[list[WrittenFollowUp], Meta(max_length=MAX_WINDOWS)] | NoneOrUnknown,
        Meta(description="Moves that may follow it by themselves."),
    ] = UNSET
