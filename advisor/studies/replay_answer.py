"""What a replay answers: both sides frame by frame, what happened, and the verdict with its proof."""

from __future__ import annotations

from typing import Annotated

from msgspec import Meta, Struct

from advisor.advice.answer import Against, Missing, PackRef, Setting

__all__ = ["Acting", "Contacted", "Event", "ReplayAnswer", "SideFrame", "StripFrame", "WindowOn"]

Common = Annotated[int, Meta(description="A frame of the common clock; whoever is free first has its frame 1 on it.")]


class WindowOn(Struct, kw_only=True, omit_defaults=True):
    """A window that is on."""

    kind: Annotated[
        str,
        Meta(
            description="active, parry, invulnerable, armour, guard, sidestep, airborne, crouching, grounded or "
            "counter_state."
        ),
    ]
    number: Annotated[int, Meta(description="Which one of its kind, from 1 in the order of the data; a hit's number.")]
    to: Annotated[
        str,
        Meta(
            description="The hit level of an active window, the guards of a guard, the side of a sidestep; of the "
            "others the levels and tags that they concern. Empty: unknown, or it needs none."
        ),
    ] = ""
    sure: Annotated[bool, Meta(description="False when it may be over or not yet on: that is not recorded.")] = True


class SideFrame(Struct, kw_only=True, omit_defaults=True):
    """One side on one frame."""

    phase: Annotated[
        str,
        Meta(
            description="recovery, blockstun, hitstun, knockdown, startup, active, guarding, moving or free; unknown "
            "when more than one is possible, see `phases`."
        ),
    ]
    posture: Annotated[
        str, Meta(description="standing, crouching, airborne, grounded; unknown when more than one is possible.")
    ]
    doing: Annotated[str, Meta(description="held (by the moment or the contact), option (it runs) or free.")]
    own: Annotated[
        int | None, Meta(description="Own frame of what it does: its option, or the move it recovers from.")
    ] = None
    windows: Annotated[list[WindowOn], Meta(description="Windows that are on.")] = []
    moved: Annotated[
        float | None,
        Meta(description="Moved toward the other so far, in the pack's unit; left out when 0, null when unknown."),
    ] = 0.0
    phases: Annotated[list[str], Meta(description="The possible phases when that is unknown.")] = []
    postures: Annotated[list[str], Meta(description="The possible postures when that is unknown.")] = []
    hangs_on: Annotated[list[Missing], Meta(description="Properties that would tell phase and posture.")] = []


class StripFrame(Struct, kw_only=True):
    """Both sides on one frame. Frames after the deciding contact show what it leaves."""

    frame: Common
    me: SideFrame
    them: SideFrame
    distance: Annotated[
        float | None,
        Meta(description="Distance in the pack's unit; null when unknown, and while a contact pushes the two apart."),
    ]
    after: Annotated[bool, Meta(description="The deciding contact is over.")] = False


class Event(Struct, kw_only=True):
    """Something that happens on a frame, or on a run of frames."""

    frame: Common
    last: Annotated[int, Meta(description="Last frame of the run; `frame` itself for a single one.")]
    by: Annotated[str, Meta(description="Who does it: me, them or both.")]
    kind: Annotated[
        str,
        Meta(
            description="begins, acts (can act), reach, posture, invulnerable, sidestep (the attack misses so), "
            "armoured, may_touch, would_touch (where what comes first is not known), hit, counter_hit, blocked, "
            "parried, trade, break, or none (nothing touches)."
        ),
    ]
    option: Annotated[str, Meta(description="Id of the option that it is about.")]
    sentence: str
    hit: Annotated[int | None, Meta(description="Number of the hit, from 1.")] = None
    hangs_on: Annotated[list[Missing], Meta(description="Properties that would decide it.")] = []


class Acting(Struct, kw_only=True):
    """One side of the replay: who it is, what it does and from when on."""

    character: str
    option: Annotated[str, Meta(description="Id of the option.")]
    name: str
    kind: str
    held: Annotated[str, Meta(description="What holds it at first: recovery, blockstun, hitstun, knockdown or none.")]
    held_until: Annotated[int | None, Meta(description="Last common frame on which it is held; null: unknown.")]
    begins: Annotated[
        int | None,
        Meta(description="Common frame of the option's frame 1, below 1 for a follow-up under way; null: unknown."),
    ]
    over: Annotated[
        int | None,
        Meta(description="Last common frame of the option when nothing touches; null: unknown, or held at will."),
    ]


class Contacted(Struct, kw_only=True):
    """The contact that decides the exchange."""

    by: Annotated[str, Meta(description="Whose attack it is: me, them, both, none or unknown.")]
    effect: Annotated[str, Meta(description="hit, counter_hit, blocked, parried, trade, break, none or unknown.")]
    frame: Annotated[int | None, Meta(description="Common frame; null when there is none, or it is unknown.")]
    hit: Annotated[int | None, Meta(description="Number of the hit, from 1.")]
    posture: Annotated[str | None, Meta(description="Posture of the struck side.")]
    phase: Annotated[str | None, Meta(description="Phase of the struck side.")]
    distance: Annotated[float | None, Meta(description="Distance at the contact, in the pack's unit.")]
    breakable: Annotated[bool | None, Meta(description="It is a throw that can be broken; null: unknown.")]


class ReplayAnswer(Struct, kw_only=True):
    """An exchange shown frame by frame, with the verdict of the rules."""

    summary: Annotated[str, Meta(max_length=90, description="One line, at most 90 characters.")]
    situation: Setting
    me: Acting
    them: Acting
    delayed: Annotated[str, Meta(description="Whose option begins late: me, or them when I am on the floor.")]
    delay: Annotated[int, Meta(description="By how many frames.")]
    contact: Contacted
    frames: list[StripFrame]
    cut: Annotated[bool, Meta(description="There is more: `frames` of the request ended the strip.")]
    events: list[Event]
    result: Annotated[Against, Meta(description="The verdict on the exchange, with its proof.")]
    sentence: Annotated[str, Meta(description="One plain sentence: why.")]
    hangs_on: Annotated[list[Missing], Meta(description="Properties that would decide exchange or verdict.")]
    cautions: list[str]
    pack: PackRef
