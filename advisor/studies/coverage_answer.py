"""What the study of coverage answers."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta, Struct

from advisor.advice.answer import Missing, PackRef, Setting
from advisor.studies.weighing import FrameRun

__all__ = ["Cell", "CoverageAnswer", "Partner", "ReplyHead", "Row", "Stretch"]

Verdict = Annotated[str, Meta(description="A verdict of the vocabulary, from my side.")]
Runs = Annotated[list[FrameRun], Meta(description="Runs of delays in frames, both ends included.")]
Success = Annotated[
    float | None,
    Meta(description="Chance to hit the longest run at the given spread, aimed at its middle; null without a spread."),
]
Points = Annotated[float | None, Meta(description="Points of damage; null when unknown or not applicable.")]


class Stretch(Struct, frozen=True, kw_only=True):
    """Delays ``first`` to ``last``, both included, on which one of mine against one of theirs ends alike."""

    first: Annotated[int, Meta(description="First frame, itself included.")]
    last: Annotated[int, Meta(description="Last frame, itself included.")]
    verdict: Verdict
    by: Annotated[str, Meta(description="Whose attack makes the deciding contact: me, them, both, none, unknown.")]
    effect: Annotated[str, Meta(description="hit, counter_hit, blocked, parried, trade, break, none or unknown.")]


class Cell(Struct, kw_only=True):
    """One option of mine against one of theirs, over all delays.

    ``verdict`` and what follows it hold at delay ``delay``: the best one for whoever times the exchange.
    """

    reply: str
    name: str
    verdict: Verdict
    by: str
    effect: str
    delay: Annotated[int, Meta(description="The first delay on which the verdict holds.")]
    frame: Annotated[int | None, Meta(description="Frame of the deciding contact at that delay.")]
    dealt: Points
    taken: Points
    sentence: str
    rule: Annotated[str, Meta(description="Rule whose sentence it is; empty when the verdict is unknown.")]
    windows: Annotated[list[Stretch], Meta(description="What happens on every delay, in order, without holes.")]
    covers: Annotated[Runs, Meta(description="Delays on which it is covered (guaranteed or beats).")]
    loses: Annotated[Runs, Meta(description="Delays on which I lose.")]
    width: Annotated[
        int, Meta(description="Frames of the longest run of `covers`; when they time it, of `loses`.")
    ]
    success: Success
    tags: list[str]
    hangs_on: list[Missing]


class Partner(Struct, kw_only=True):
    """Another option of mine that beats what this one loses to (or leaves open, when it loses to nothing)."""

    option: str
    name: str
    covers: Annotated[list[str], Meta(description="Of the replies in question: what this covers at one timing.")]
    of: Annotated[int, Meta(description="Replies that the first loses to, or else leaves open.")]
    windows: Runs
    width: Annotated[int, Meta(description="Frames; 1 is a just frame.")]


class Row(Struct, kw_only=True):
    """One option of mine against all chosen replies.

    When I time it: ``covers`` are the most replies that one and the same delay covers, ``windows`` the
    delays on which all of them are. When they time it: ``covers`` are the replies that never beat it,
    and ``windows`` the delays of theirs on which none of the chosen replies does.
    """

    option: str
    name: str
    kind: str
    first_active: Annotated[int | None, Meta(description="First own frame that touches; null: unknown or no attack.")]
    covered: Annotated[int, Meta(description="How many replies `covers` holds.")]
    of: Annotated[int, Meta(description="Chosen replies.")]
    covers: list[str]
    loses_to: Annotated[
        list[str], Meta(description="Chosen replies to which it loses when aimed so; at any timing when they time it.")
    ]
    left: Annotated[list[str], Meta(description="Chosen replies that it neither covers nor loses to.")]
    windows: Runs
    width: Annotated[int, Meta(description="Frames of the longest run of `windows`: 1 is a just frame.")]
    aim: Annotated[int | None, Meta(description="The delay in the middle of that run; null when there is none.")]
    success: Success
    damage: Annotated[float | None, Meta(description="Least damage over what it covers; null: none, or unknown.")]
    partners: Annotated[list[Partner], Meta(description="What beats the replies that this one loses to, best first.")]
    needs: Annotated[list[str], Meta(description="What it asks that the request does not say, such as meter.")]
    sentence: str
    cells: list[Cell]


class ReplyHead(Struct, kw_only=True):
    """One of their options, a column of the table."""

    reply: str
    name: str
    chosen: Annotated[bool, Meta(description="Whether it counts for the rows (`cover`).")]


class CoverageAnswer(Struct, kw_only=True):
    """My options set against theirs over every delay, best rows first."""

    summary: Annotated[str, Meta(max_length=90, description="One line, at most 90 characters.")]
    situation: Setting
    timed_by: Annotated[Literal["me", "them"], Meta(description="Whose delay it is: them when I am on the ground.")]
    delays: Annotated[int, Meta(description="Longest delay tried, frames.")]
    spread: Annotated[float | None, Meta(description="Timing spread (standard deviation), frames.")]
    replies: Annotated[list[ReplyHead], Meta(description="Columns of the table, in the order of the cells.")]
    rows: list[Row]
    considered: Annotated[int, Meta(description="Options of mine that were tried.")]
    judged: Annotated[
        int, Meta(description="Options judged by the rules; the others were ranked by contact alone and not listed.")
    ]
    missing: Annotated[list[Missing], Meta(description="Properties that cells hang on, most cells first.")]
    cautions: list[str]
    pack: PackRef
