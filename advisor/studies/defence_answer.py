"""What the study of layered defence and safe pressure answers."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta, Struct

from advisor.advice.answer import Missing, PackRef
from advisor.studies.weighing import FrameRun

__all__ = ["DefenceAlone", "DefenceAnswer", "DefenceBeater", "DefenceCell", "DefenceRow", "DefenceWindow", "Mode"]

Mode = Literal["defend", "safe_pressure"]
Verdict = Annotated[str, Meta(description="A verdict of the vocabulary, for my side.")]
Runs = Annotated[
    list[FrameRun], Meta(description="Switch frames (defend) or delays (safe_pressure) on which it is covered.")
]


class DefenceWindow(Struct, kw_only=True):
    """A run of switch frames (or delays) over which the same options are covered."""

    first: Annotated[int, Meta(description="First frame, itself included.")]
    last: Annotated[int, Meta(description="Last frame, itself included.")]
    width: Annotated[int, Meta(description="Frames of the run; 1 is a just frame.")]
    covers: Annotated[list[str], Meta(description="Ids of the options that are covered.")]


class DefenceCell(Struct, kw_only=True):
    """The row against one of their options, on the row's `at`."""

    reply: str
    name: str
    verdict: Verdict
    by: Annotated[str, Meta(description="Whose attack makes the deciding contact: me, them, both, none, unknown.")]
    effect: str
    frame: Annotated[int | None, Meta(description="Common frame of that contact.")]
    tags: list[str]
    windows: Runs
    arrives: Annotated[int | None, Meta(description="Common frame on which their attack can first touch.")]
    free_on: Annotated[int | None, Meta(description="safe_pressure: first common frame on which I can guard again.")]
    sentence: str
    rule: str
    hangs_on: list[Missing]


class DefenceBeater(Struct, kw_only=True):
    """One of their options that beats the row on its `at`."""

    option: str
    name: str
    delays: Annotated[list[FrameRun], Meta(description="Frames by which it is delayed when it does.")]
    verdict: Verdict
    sentence: str


class DefenceRow(Struct, kw_only=True):
    """One composite option: a guard and what follows it, or an attack and the guard after it."""

    option: str
    name: str
    first: Annotated[str, Meta(description="Id of what comes first.")]
    then: Annotated[str, Meta(description="Id of what comes then; `break:<id>` is a throw break.")]
    covers: Annotated[int, Meta(description="Most of their options that one frame covers.")]
    of: Annotated[int, Meta(description="How many it was set against.")]
    windows: Annotated[list[DefenceWindow], Meta(description="Frames that cover that many, widest first.")]
    at: Annotated[int, Meta(description="Switch frame or delay that is looked at: the middle of the widest window.")]
    adds: Annotated[list[str], Meta(description="defend: options covered that the guard held alone does not cover.")]
    not_covered: list[str]
    unknown: Annotated[list[str], Meta(description="Options against which it is unknown on `at`.")]
    damage: Annotated[float | None, Meta(description="safe_pressure: damage of the attack.")]
    jumps: Annotated[bool, Meta(description="safe_pressure: the attack leaves the ground.")]
    cells: list[DefenceCell]
    beaten_by: list[DefenceBeater]
    sentence: str


class DefenceAlone(Struct, kw_only=True):
    """One of the guards held all the time, for comparison."""

    option: str
    name: str
    covers: Annotated[int, Meta(description="How many it covers.")]
    of: Annotated[int, Meta(description="How many it was set against.")]
    not_covered: list[str]


class DefenceAnswer(Struct, kw_only=True):
    """Composite options ranked by how many of their options one frame covers.

    Among equals those come first that add most to the guard alone, beat most, and have the widest window.
    """

    summary: Annotated[str, Meta(description="One line, at most 90 characters.")]
    mode: Mode
    me: str
    them: str
    moment: str
    distance: Annotated[float | None, Meta(description="Distance in the pack's unit; null when unknown.")]
    unit: str
    replies: list[str]
    rows: list[DefenceRow]
    considered: Annotated[int, Meta(description="Composite options that were tried.")]
    alone: Annotated[list[DefenceAlone], Meta(description="defend: each guard by itself.")]
    missing: list[Missing]
    cautions: list[str]
    pack: PackRef
