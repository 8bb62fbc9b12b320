"""What the study of strings answers."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta, Struct

from advisor.advice.answer import Missing, PackRef
from advisor.studies.weighing import FrameRun

__all__ = ["Fit", "MixAnswer", "MixCell", "MixChoice", "StringLine", "StringLink", "StringMix", "StringsAnswer", "Word"]

Word = Literal["jails", "combos", "gap", "jails_or_gap", "combos_or_gap", "misses", "unknown"]
Contact = Literal["block", "hit", "counter_hit"]
Verdict = Annotated[str, Meta(description="A verdict of the vocabulary, for the side that faces the string.")]
Runs = Annotated[list[FrameRun], Meta(description="Delays in frames after the stun.")]


class Fit(Struct, kw_only=True):
    """One option of the side that faces the string that fits in the gap."""

    option: str
    name: str
    kind: str
    verdict: Verdict
    tags: Annotated[list[str], Meta(description="What it does there: parry, interrupt, crouches_under, ...")]
    damage: Annotated[float | None, Meta(description="Damage that it does there; null when unknown.")]
    arrives: Annotated[list[FrameRun], Meta(description="Arrivals of the next hit against which it works.")]
    delays: Annotated[Runs, Meta(description="Delays after the stun that work against the earliest of these arrivals.")]
    against_all: Annotated[Runs, Meta(description="Delays that work whenever the next hit comes.")]
    sentence: str
    rule: Annotated[str, Meta(description="Rule whose sentence it is; empty when the verdict is unknown.")]
    hangs_on: list[Missing]


class StringLink(Struct, kw_only=True):
    """One step of a string on one result of the hit before it.

    ``gap`` counts the frames between the end of the stun and the next hit, for the earliest and
    the latest arrival; below 0 no option of the struck side begins in time.
    """

    after: Annotated[list[str], Meta(description="Ids of the moves so far; the last has just touched.")]
    move: Annotated[str, Meta(description="Id of the next move.")]
    name: str
    on: Annotated[Contact, Meta(description="What the hit before it was.")]
    word: Annotated[Word, Meta(description="jails, combos, gap (or one of both when delayed), misses, unknown.")]
    arrives: Annotated[FrameRun | None, Meta(description="Frames from the hit before to this one.")]
    stun: Annotated[int | None, Meta(description="Frames of stun of the hit before.")]
    gap: Annotated[FrameRun | None, Meta(description="Frames of the gap, earliest and latest arrival.")]
    distance: Annotated[float | None, Meta(description="Distance after the hit before, in the pack's unit.")]
    sentence: str
    rule: str
    quickest: Annotated[str | None, Meta(description="The fastest attack that interrupts in the gap.")]
    fits: Annotated[list[Fit], Meta(description="What fits in the gap, best first.")]
    fitting: Annotated[int, Meta(description="How many options fit (or may); the list can be shorter.")]
    weighed: Annotated[int, Meta(description="Options that were tried.")]
    hangs_on: list[Missing]


class StringLine(Struct, kw_only=True):
    """One string: its moves, and a word for each of its steps on block, on hit and on counter-hit."""

    moves: list[str]
    names: list[str]
    levels: list[str | None]
    on_block: list[str]
    on_hit: list[str]
    on_counter_hit: list[str]
    ends: Annotated[bool, Meta(description="Nothing follows it.")]
    sentence: str


class MixCell(Struct, kw_only=True):
    """One ender against one defence."""

    move: str
    verdict: Verdict
    tags: list[str]
    sentence: str


class MixChoice(Struct, kw_only=True):
    """One of the enders to choose from, and what it beats."""

    move: str
    name: str
    level: str | None
    word: Word
    gap: FrameRun | None
    beats: Annotated[list[str], Meta(description="Defences that lose to it.")]
    loses_to: Annotated[list[str], Meta(description="Defences that beat it; `stopped_by` has them too.")]
    stopped_by: Annotated[list[str], Meta(description="Defences that do not lose to it.")]
    open: Annotated[list[str], Meta(description="Defences that trade with it, or for which that is unknown.")]
    sentence: str


class MixAnswer(Struct, kw_only=True):
    """One defence against all the enders, begun on the first frame after the stun."""

    option: str
    name: str
    stops: Annotated[int, Meta(description="How many it stops.")]
    of: Annotated[int, Meta(description="How many it was set against.")]
    cells: list[MixCell]


class StringMix(Struct, kw_only=True):
    """A choice between several enders after the same hits."""

    after: list[str]
    on: Contact
    choices: list[MixChoice]
    answers: list[MixAnswer]
    sentence: str


class StringsAnswer(Struct, kw_only=True):
    """Strings, their steps and mix-ups. Verdicts and sentences speak to the side that faces them."""

    summary: Annotated[str, Meta(description="One line, at most 90 characters.")]
    character: str
    them: Annotated[str | None, Meta(description="Who faces the strings; null: anyone.")]
    distance: Annotated[float | None, Meta(description="Distance at the first contact.")]
    unit: str
    strings: list[StringLine]
    complete: Annotated[bool, Meta(description="No string was left out.")]
    links: list[StringLink]
    mixups: list[StringMix]
    missing: Annotated[list[Missing], Meta(description="Properties that steps hang on, most steps first.")]
    cautions: list[str]
    pack: PackRef
