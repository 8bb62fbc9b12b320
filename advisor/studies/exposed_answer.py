"""What is asked and answered about what of mine loses to them."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta, Struct

from advisor.advice.answer import Missing, PackRef
from advisor.facts.question import Away, Fighter, Held, Id, Name
from advisor.studies.coverage_answer import Stretch
from advisor.studies.weighing import FrameRun

__all__ = ["Exposed", "ExposedAnswer", "ExposedMove", "Lost", "Punisher"]

Mine = Annotated[list[Id], Meta(min_length=1, max_length=400)]
End = Literal["after_block", "after_whiff"]


class Exposed(Struct, kw_only=True, forbid_unknown_fields=True):
    """What of mine loses: to one ``option`` of theirs, or (without one) to their punish of my moves."""

    me: Fighter
    them: Annotated[Fighter | None, Meta(description="The opponent; every character when left out.")] = None
    option: Annotated[
        Id | None, Meta(description="Their option; my moves that are punishable are listed when left out.")
    ] = None
    moves: Annotated[
        Mine | None, Meta(description="Only these options of mine; all when left out.")
    ] = None
    when: Annotated[
        End, Meta(description="Without `option`: punishable after a block, or after a miss.")
    ] = "after_block"
    distance: Annotated[
        Away | Name | None, Meta(description="Distance when it starts; the nearest that the pack names when left out.")
    ] = None
    advantage: Annotated[
        int, Meta(ge=-200, le=200, description="With `option`: frames by which I can act before it starts.")
    ] = 0
    held: Annotated[Held, Meta(description="With an advantage: what holds the later side.")] = "recovery"
    delays: Annotated[
        int, Meta(ge=0, le=120, description="With `option`: frames by which they may start later, at most.")
    ] = 60
    limit: Annotated[int, Meta(ge=1, le=200, description="Options of mine to list.")] = 20
    pack: Annotated[Id | None, Meta(description="Pack id; the default pack when left out.")] = None


class Lost(Struct, kw_only=True):
    """One option of mine that loses to theirs, trades with it, or hangs on something.

    ``verdict`` is the worst over their delays; what follows it is of the first delay on which it holds.
    """

    option: str
    name: str
    kind: str
    verdict: str
    at_once: Annotated[str, Meta(description="The verdict when they start at once.")]
    delays: Annotated[list[FrameRun], Meta(description="Frames by which they may start later and `verdict` holds.")]
    width: Annotated[int, Meta(description="Frames of the longest of these runs; 1 is a just frame of theirs.")]
    windows: Annotated[list[Stretch], Meta(description="What happens on each delay of theirs, without holes.")]
    effect: str
    frame: Annotated[int | None, Meta(description="Common frame of the deciding contact.")]
    taken: Annotated[float | None, Meta(description="Damage I take; null: unknown.")]
    tags: list[str]
    hangs_on: list[Missing]
    sentence: str


class Punisher(Struct, kw_only=True):
    """An opponent's punish of a move of mine."""

    them: str
    option: str
    name: str
    frame: Annotated[int | None, Meta(description="Frame on which it lands.")]
    held_until: Annotated[int, Meta(description="Last frame on which I cannot act.")]
    damage: Annotated[float | None, Meta(description="Points; null: unknown.")]
    works_to: Annotated[float | None, Meta(description="Distance up to which it reaches; null: no bound, or unknown.")]
    needs: Annotated[list[str], Meta(description="What it asks that the request does not say (meter, a wall ...).")]
    verdict: Annotated[str, Meta(description="What the rules say of my guard against it.")]
    sentence: str


class ExposedMove(Struct, kw_only=True):
    """One move of mine and who punishes it."""

    move: str
    name: str
    advantage: Annotated[int | None, Meta(description="What it leaves me, frames; null: unknown.")]
    punishers: Annotated[int, Meta(description="Opponents that have a punish.")]
    unknown: Annotated[int, Meta(description="Opponents for whom that hangs on something unknown.")]
    of: Annotated[int, Meta(description="Opponents that were looked at.")]
    worst: Annotated[float | None, Meta(description="Most damage of those punishes.")]
    by: Annotated[list[Punisher], Meta(description="Against a named opponent all punishes, else the best of each.")]
    hangs_on: list[Missing]
    sentence: str


class ExposedAnswer(Struct, kw_only=True):
    """What of mine loses: ``lost`` to one option of theirs, or ``moves`` that they punish, worst first."""

    summary: str
    me: str
    them: Annotated[str | None, Meta(description="Null: the whole roster.")]
    option: str | None
    distance: Annotated[float, Meta(description="Distance when it starts, in `unit`.")]
    unit: str
    lost: list[Lost]
    moves: list[ExposedMove]
    counts: Annotated[
        dict[str, int], Meta(description="How many options of mine have each worst verdict, or are punishable.")
    ]
    missing: Annotated[list[Missing], Meta(description="Properties that results hang on, most results first.")]
    cautions: list[str]
    pack: PackRef
