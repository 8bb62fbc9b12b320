"""What is asked of the study ``baits``, and what it answers."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta, Struct, field

from advisor.advice.answer import Missing, PackRef, Verdict
from advisor.facts.question import Away, Fighter, Id, Ids, Name

__all__ = ["Bait", "Baits", "BaitsRequest", "FrameWindow", "Tried"]

Result = Literal["blocked", "whiffed"]


class BaitsRequest(Struct, kw_only=True, forbid_unknown_fields=True):
    """My moves that may be the bait, the option that waits behind them, and what they reply with."""

    me: Fighter
    them: Fighter
    pack: Annotated[Id | None, Meta(description="Pack id; the service's default pack when left out.")] = None
    distance: Annotated[
        Away | Name | None, Meta(description="Distance when the bait touches or misses: a number or a named one.")
    ] = None
    moves: Annotated[Ids | None, Meta(description="Moves of mine that may be the bait; all when left out.")] = None
    answers: Annotated[
        Ids | None,
        Meta(description="My options that the reply is to run into. Left out: my parries, or evasive ones if none."),
    ] = None
    replies: Annotated[
        Ids | None, Meta(description="What they reply with; what a player would try when left out.")
    ] = None
    results: Annotated[
        list[Result], Meta(min_length=1, max_length=2, description="Whether the bait was blocked or missed.")
    ] = field(default_factory=lambda: ["blocked"])
    eager: Annotated[
        int, Meta(ge=0, le=20, description="Frames by which a reply may be too slow for what it looks like, yet tried.")
    ] = 0
    usual_blockstun: Annotated[
        Annotated[int, Meta(ge=0, le=120)] | None,
        Meta(description="Blockstun in frames that they take for granted; the pack's median when left out."),
    ] = None
    in_the_air: Annotated[
        int,
        Meta(ge=0, le=20, description="Frames that a move looks worse when its user is in the air on contact."),
    ] = 2
    limit: Annotated[int, Meta(ge=1, le=400, description="Most baits to list.")] = 20


class FrameWindow(Struct, kw_only=True):
    """A run of frames, both ends included."""

    first: Annotated[int, Meta(description="First frame, itself included.")]
    last: Annotated[int, Meta(description="Last frame, itself included.")]


class Tried(Struct, kw_only=True):
    """One reply of theirs against the answer that waits."""

    reply: str
    name: str
    why: Annotated[str, Meta(description="Why they would try it: quickest, looks_fast_enough, key_move or given.")]
    first_active: Annotated[int | None, Meta(description="First frame that can touch.")]
    caught: Annotated[bool, Meta(description="By the rules it runs into the answer (tag `bait`).")]
    verdict: Verdict
    effect: str
    frame: Annotated[int | None, Meta(description="Frame of the deciding contact, from the first one they can act on.")]
    frames: Annotated[
        FrameWindow | None,
        Meta(description="Frames on which it may arrive, started up to 60 late, and is caught; null: not caught."),
    ]
    delays: Annotated[
        FrameWindow | None, Meta(description="Frames by which I may start the answer late and it still catches.")
    ]
    dealt: Annotated[float | None, Meta(description="Damage they take; null: unknown.")]
    taken: Annotated[float | None, Meta(description="Damage I take; null: unknown.")]
    tags: list[str]
    sentence: str
    hangs_on: list[Missing]


class Bait(Struct, kw_only=True):
    """One move of mine with the answer that waits behind it."""

    move: str
    name: str
    result: Result
    answer: str
    answer_name: str
    advantage: Annotated[int, Meta(description="What it leaves me: frames by which I am free first.")]
    looks: Annotated[
        int | None,
        Meta(
            description="Advantage read from active and recovery alone: usual blockstun + 1 - active - recovery, less "
            "`in_the_air` for a user in the air on contact. Null when missed, or the duration is unknown."
        ),
    ]
    looks_worse_by: Annotated[int | None, Meta(description="`advantage` less `looks`; above 0 it looks worse.")]
    airborne: Annotated[bool | None, Meta(description="My body is in the air on contact.")]
    distance: Annotated[float | None, Meta(description="Distance afterwards, in the pack's unit; null: unknown.")]
    caught: Annotated[int, Meta(description="Replies that run into the answer.")]
    of: Annotated[int, Meta(description="How many it was set against.")]
    damage: Annotated[float | None, Meta(description="Least damage of a catch; null when one of them is unknown.")]
    risk: Annotated[float | None, Meta(description="Most damage from the replies that get through; null: unknown.")]
    loses_to: Annotated[list[str], Meta(description="Names of the replies that get through.")]
    sentence: str
    tries: list[Tried]


class Baits(Struct, kw_only=True):
    """Baits, best first: the share of replies caught, how much worse it looks, damage, least risk."""

    summary: Annotated[str, Meta(max_length=90, description="One line, at most 90 characters.")]
    unit: str
    usual_blockstun: Annotated[int | None, Meta(description="Blockstun that `looks` takes for granted; null: unknown.")]
    baits: list[Bait]
    considered: Annotated[int, Meta(description="Moves weighed, once for each result.")]
    found: Annotated[int, Meta(description="How many there are, listed or not.")]
    skipped: Annotated[dict[str, str], Meta(description="Moves that are no bait from the start, and why.")]
    missing: Annotated[list[Missing], Meta(description="Properties that answers hang on, most first.")]
    cautions: list[str]
    pack: PackRef
