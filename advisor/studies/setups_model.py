"""What is asked of the study ``setups``, and what it answers."""

from __future__ import annotations

from typing import Annotated

from msgspec import Meta, Struct

from advisor.advice.answer import Missing, PackRef, Verdict
from advisor.facts.question import Away, CounterHit, Fighter, FloorBreaks, HitLanded, Id, Ids, KnockedDown, Name

__all__ = ["Met", "Setup", "Setups", "SetupsRequest"]


class SetupsRequest(Struct, kw_only=True, forbid_unknown_fields=True):
    """After which knockdown, and what may be used.

    ``distance`` is the distance when the move touched (hit, counter_hit), or now (knockdown).
    """

    me: Fighter
    them: Fighter
    moment: Annotated[
        HitLanded | CounterHit | KnockedDown,
        Meta(description="The knockdown: a state with its frames, or a move of mine that left it."),
    ]
    pack: Annotated[Id | None, Meta(description="Pack id; the service's default pack when left out.")] = None
    distance: Annotated[
        Away | Name | None, Meta(description="Distance at contact: a number or a named distance.")
    ] = None
    floor_breaks: FloorBreaks = None
    replies: Annotated[
        Ids | None, Meta(description="Their wake-up options to meet; all of the knockdown state when left out.")
    ] = None
    actions: Annotated[
        Ids | None,
        Meta(description="My options that may use up frames; every movement and move that can when left out."),
    ] = None
    last: Annotated[
        Ids | None, Meta(description="My options that may end the sequence; every attack when left out.")
    ] = None
    length: Annotated[
        int, Meta(ge=1, le=5, description="Most actions in a sequence, the last one included.")
    ] = 3
    at_least: Annotated[
        int, Meta(ge=1, le=400, description="List only what covers this many wake-up options or more.")
    ] = 1
    ground: Annotated[
        bool, Meta(description="Count a last action, too, that hits them on the ground, before their option begins.")
    ] = False
    each: Annotated[
        Annotated[int, Meta(ge=1, le=400)] | None,
        Meta(description="Most sequences to list with the same last action; no bound when left out."),
    ] = None
    limit: Annotated[int, Meta(ge=1, le=400, description="Most sequences to list.")] = 20
    bound: Annotated[
        int,
        Meta(ge=1_000, le=20_000_000, description="Most units of work; one is a step from one state, or one table."),
    ] = 2_000_000


class Met(Struct, kw_only=True):
    """A sequence against one wake-up option."""

    reply: Annotated[str, Meta(description="Id of the wake-up option.")]
    name: str
    covered: Annotated[
        bool,
        Meta(description="The last action wins (verdict guaranteed or beats) while the wake-up option runs."),
    ]
    verdict: Verdict
    by: Annotated[str, Meta(description="Whose attack makes the deciding contact: me, them, both, none, unknown.")]
    effect: Annotated[str, Meta(description="hit, counter_hit, blocked, parried, trade, break, none or unknown.")]
    frame: Annotated[
        int | None, Meta(description="Frame of that contact, counted from the first one on which I can act.")
    ]
    before: Annotated[
        str | None, Meta(description="Id of the earlier action in which something touches already; null: the last.")
    ]
    dealt: Annotated[float | None, Meta(description="Damage they take; null when unknown.")]
    taken: Annotated[float | None, Meta(description="Damage I take; null when unknown.")]
    tags: list[str]
    sentence: Annotated[
        str, Meta(description="Why, in one sentence; its frames count from the first one of the action that decides.")
    ]
    hangs_on: list[Missing]


class Setup(Struct, kw_only=True):
    """One sequence: the actions in order, the last of them the one that meets the wake-up options."""

    actions: Annotated[list[str], Meta(description="Ids in order, each begun as soon as the one before is over.")]
    names: list[str]
    used: Annotated[int, Meta(description="Frames that the actions before the last one use up.")]
    distance: Annotated[float, Meta(description="Distance when the last action begins, in the pack's unit.")]
    touches_from: Annotated[
        int | None, Meta(description="Frame on which the last action can first touch, from the first I can act on.")
    ]
    covered: Annotated[int, Meta(description="Wake-up options that it covers.")]
    of: Annotated[int, Meta(description="How many it was set against.")]
    width: Annotated[
        int,
        Meta(description="Totals of used frames over which the last action covers the same options; 1: just this."),
    ]
    window: Annotated[tuple[int, int], Meta(description="The first and last of these totals; `used` lies in it.")]
    damage: Annotated[
        float | None, Meta(description="Least damage where it covers; null when one of them is unknown.")
    ]
    needs: Annotated[list[str], Meta(description="What the last action asks for (meter, stance, a wall).")]
    loses_to: Annotated[list[str], Meta(description="Names of the wake-up options with verdict loses.")]
    sentence: str
    against: list[Met]


class Setups(Struct, kw_only=True):
    """Sequences that meet the wake-up options with no manual delay, best first."""

    summary: Annotated[str, Meta(max_length=90, description="One line, at most 90 characters.")]
    sentence: Annotated[str, Meta(description="The situation as it was understood.")]
    knockdown: str | None
    frames: Annotated[int | None, Meta(description="Frames before their wake-up option begins; null: unknown.")]
    distance: Annotated[float | None, Meta(description="Distance now, in `unit`; null: unknown.")]
    unit: str
    replies: Annotated[list[str], Meta(description="Wake-up options that were to be met.")]
    setups: list[Setup]
    found: Annotated[
        int,
        Meta(description="Sequences that by frames and distance cover `at_least` or more; `setups` has the first."),
    ]
    by_coverage: Annotated[
        dict[str, int], Meta(description="How many sequences were found for each number of options covered.")
    ]
    complete: Annotated[bool, Meta(description="False when `bound` was hit, so that there may be others.")]
    work: Annotated[int, Meta(description="Units of work done.")]
    bound: Annotated[int, Meta(description="Most work allowed, in steps.")]
    left_out: Annotated[dict[str, str], Meta(description="My options that the search could not use, and why.")]
    missing: Annotated[
        list[Missing], Meta(description="Properties that would let more options in, or decide cells; most first.")
    ]
    cautions: list[str]
    pack: PackRef
