"""What is asked and answered about what beats an option of theirs."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta, Struct

from advisor.advice.answer import Leaves, Missing, PackRef
from advisor.facts.question import Away, Fighter, Held, Id, Name
from advisor.studies.weighing import FrameRun

__all__ = ["AnswerCell", "AnswerRow", "Beats", "BeatsAnswer", "Followed", "Open", "Target", "ThrowBreakInfo", "When"]

When = Literal["before", "during", "gap", "after_block", "after_whiff"]
Moments = Annotated[list[When], Meta(min_length=1, max_length=5)]
Share = Annotated[float, Meta(ge=0, le=1_000_000)]
Some = Annotated[list[Id], Meta(min_length=1, max_length=24)]


class Beats(Struct, kw_only=True, forbid_unknown_fields=True):
    """What beats this option of theirs?

    Either ``moves`` (one, or several: a habit that the same option of mine should answer, with ``shares``
    how often they do each) or ``string`` (the hits of one string, in order).
    """

    them: Fighter
    moves: Annotated[
        Some | None, Meta(description="Their option, or several that they do by habit: ids of moves or system options.")
    ] = None
    shares: Annotated[
        Annotated[list[Share], Meta(min_length=1, max_length=24)] | None,
        Meta(description="How often they do each of `moves`, in order: counts or shares; equal when left out."),
    ] = None
    string: Annotated[Some | None, Meta(description="The hits of a string of theirs, in order.")] = None
    me: Annotated[Fighter | None, Meta(description="Who answers; every character of the pack when left out.")] = None
    distance: Annotated[
        Away | Name | None, Meta(description="Distance when it starts; the nearest that the pack names when left out.")
    ] = None
    advantage: Annotated[
        int, Meta(ge=-200, le=200, description="Frames by which I can act before their option starts.")
    ] = 0
    held: Annotated[Held, Meta(description="With an advantage: what holds the later side.")] = "recovery"
    delays: Annotated[int, Meta(ge=0, le=120, description="Frames by which I may start later, at most.")] = 60
    when: Annotated[
        Moments | None, Meta(description="Only these moments of its life; all when left out.")
    ] = None
    limit: Annotated[int, Meta(ge=1, le=200, description="Answers to list for each moment of its life.")] = 10
    pack: Annotated[Id | None, Meta(description="Pack id; the default pack when left out.")] = None


class ThrowBreakInfo(Struct, kw_only=True):
    """One way to break a throw."""

    id: str
    input: str | None
    window: Annotated[int | None, Meta(description="Frames after contact in which it counts; null: unknown.")]


class Target(Struct, kw_only=True):
    """One option of theirs, as far as it matters to an answer; null is unknown."""

    move: str
    name: str
    level: str | None
    kind: Annotated[str, Meta(description="strike, throw, or the kind of an option that does not attack.")]
    tags: list[str]
    first_active: Annotated[int | None, Meta(description="First frame on which it can touch.")]
    reach: Annotated[float | None, Meta(description="In the pack's unit.")]
    on_block: Annotated[int | None, Meta(description="Its advantage when blocked, frames.")]
    blocked_by: Annotated[list[str] | None, Meta(description="Guards that stop it; empty: none does.")]
    misses: Annotated[list[str] | None, Meta(description="Postures over or under which it passes.")]
    sidesteps: Annotated[list[str] | None, Meta(description="Sides to which it does not follow.")]
    breaks: Annotated[list[ThrowBreakInfo], Meta(description="How to break it, when it is a throw.")]
    breakable_in: Annotated[list[str] | None, Meta(description="Phases in which such a throw can be broken.")]
    hits: Annotated[bool | None, Meta(description="It touches somebody who stands there; null: unknown.")]
    frame: Annotated[int | None, Meta(description="Frame on which it then does.")]
    sentence: str


class Followed(Struct, kw_only=True):
    """A punish after their option has missed an evasion of mine."""

    option: str
    name: str
    first_active: Annotated[int, Meta(description="First frame on which it can touch.")]
    damage: Annotated[float | None, Meta(description="Points; null: unknown.")]
    works_to: Annotated[float | None, Meta(description="Distance up to which it reaches, when they have missed.")]


class AnswerCell(Struct, kw_only=True):
    """One option of mine against one option of theirs."""

    against: Annotated[str, Meta(description="Id of their option, or of the hit of their string.")]
    share: Annotated[float, Meta(description="How much of what they do that is, 0 to 1.")]
    when: When
    verdict: str
    by: str
    effect: str
    frame: Annotated[int | None, Meta(description="Common frame of the deciding contact.")]
    delays: Annotated[list[FrameRun], Meta(description="Frames by which it may be started later and end the same.")]
    width: Annotated[int | None, Meta(description="Frames of the run that the verdict is for; 1 is a just frame.")]
    dealt: Annotated[float | None, Meta(description="Damage they take; null: unknown.")]
    taken: Annotated[float | None, Meta(description="Damage I take; null: unknown.")]
    leaves: Leaves
    works_from: Annotated[float | None, Meta(description="It works beyond this distance; null: from 0, or unknown.")]
    works_to: Annotated[float | None, Meta(description="It works up to this distance; null: no bound, or unknown.")]
    tags: list[str]
    then: Annotated[list[Followed], Meta(description="What punishes after an evasion, most damage first.")]
    unless: Annotated[list[str], Meta(description="Ids of their follow-ups against which it does not work.")]
    hangs_on: list[Missing]
    rule: str
    sentence: str


class AnswerRow(Struct, kw_only=True):
    """One option of mine over everything it was set against."""

    character: str
    option: str
    name: str
    input: str | None
    kind: str
    when: When
    verdict: Annotated[str, Meta(description="The most cautious of its cells.")]
    covers: Annotated[int, Meta(description="Options of theirs that it beats.")]
    of: Annotated[int, Meta(description="Options of theirs that it was set against.")]
    share: Annotated[
        float, Meta(description="Share of what they do that it beats, 0 to 1: the chance to win against the habit.")
    ]
    damage: Annotated[
        float | None, Meta(description="Least damage where it wins: of the hit, the catch, or the punish.")
    ]
    delay: Annotated[int | None, Meta(description="Frames by which it is started later for these cells.")]
    window: Annotated[int | None, Meta(description="Frames on which it may be started and beat as many.")]
    needs: Annotated[list[str], Meta(description="What it asks that the request does not say (meter, a wall ...).")]
    cells: list[AnswerCell]


class Open(Struct, kw_only=True):
    """A moment of its life at which no answer can be given, and why."""

    when: When
    against: str
    hangs_on: list[Missing]
    sentence: str


class BeatsAnswer(Struct, kw_only=True):
    """Everything of mine that answers an option of theirs, by moment of its life, best first."""

    summary: str
    them: str
    me: Annotated[str | None, Meta(description="Who answers; null: the whole roster.")]
    distance: Annotated[float, Meta(description="Distance when it starts, in `unit`.")]
    unit: str
    advantage: Annotated[int, Meta(description="Frames by which I can act before it starts.")]
    targets: list[Target]
    rows: list[AnswerRow]
    considered: Annotated[int, Meta(description="Options of mine that were looked at.")]
    found: Annotated[dict[str, int], Meta(description="Options that may answer at each moment, listed or not.")]
    open: list[Open]
    missing: Annotated[list[Missing], Meta(description="Properties that listed answers hang on, most first.")]
    cautions: list[str]
    pack: PackRef
