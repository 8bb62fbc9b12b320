"""What the study of the guess is asked and answers."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta, Struct

from advisor.advice.answer import Missing, PackRef, Setting
from advisor.facts.question import Asked, Id, Ids
from advisor.studies.round_answer import RoundTerms

__all__ = [
    "Counted", "Execution", "Flip", "Guess", "GuessAnswer", "Lean", "Option", "OwnTrials", "Payoff", "ReadAnswer",
    "StatedOdds", "Worths",
]  # fmt: skip

Points = Annotated[float, Meta(ge=-10_000, le=10_000)]
Share = Annotated[float, Meta(ge=0, le=1)]
Earned = Annotated[float, Meta(description="In the unit of the answer.")]
Shares = Annotated[dict[str, float], Meta(description="Share by option, those above 0 only; they add up to 1.")]


class Worths(Struct, kw_only=True, forbid_unknown_fields=True):
    """What the situation that is left is worth in points, beside what is worked out; 0 when left out."""

    frame: Annotated[float, Meta(ge=0, le=1000, description="Points for each frame of advantage.")] = 0.0
    knockdown: Annotated[
        dict[Id, Points], Meta(max_length=100, description="Points for them lying in this knockdown state.")
    ] = {}
    meter: Annotated[float, Meta(ge=0, le=1000, description="Points that one unit of meter is worth to me.")] = 0.0


class Counted(Struct, kw_only=True, forbid_unknown_fields=True, tag_field="kind", tag="counts"):
    """What they were seen to do."""

    counts: Annotated[
        dict[Id, Annotated[int, Meta(ge=0, le=1_000_000)]],
        Meta(min_length=1, max_length=400, description="Times seen, by their option."),
    ]
    prior: Annotated[
        float, Meta(gt=0, le=10_000, description="Observations that the prior weighs, spread as their mix.")
    ] = 4.0


class StatedOdds(Struct, kw_only=True, forbid_unknown_fields=True, tag_field="kind", tag="odds"):
    """What I think they do."""

    odds: Annotated[
        dict[Id, Annotated[float, Meta(ge=0, le=1_000_000)]],
        Meta(min_length=1, max_length=400, description="Weight by their option; only the proportions count."),
    ]


class OwnTrials(Struct, kw_only=True, forbid_unknown_fields=True):
    """How often I bring an option off."""

    option: Annotated[Id, Meta(description="Id of my option.")]
    successes: Annotated[int, Meta(ge=0, le=1_000_000, description="Times it came off.")]
    tries: Annotated[int, Meta(ge=1, le=1_000_000, description="Times it was tried.")]


class Guess(Asked, kw_only=True, forbid_unknown_fields=True):
    """How often to do what, where nothing is guaranteed?"""

    responses: Annotated[Ids | None, Meta(description="Only these options of mine; all when left out.")] = None
    replies: Annotated[
        Ids | Literal["key", "all"] | None,
        Meta(description="Their options: ids, or `key` or `all`; their key moves and defence when left out."),
    ] = None
    further: Annotated[
        Literal["none", "punish", "solved"],
        Meta(
            description="What the situation that is left counts: nothing; the best certain punish of whoever is free "
            "first; or the value of the guess that follows, worked out in the same way with punishes at its end."
        ),
    ] = "punish"
    worth: Annotated[Worths | None, Meta(description="Points for frames, knockdowns and meter on top.")] = None
    delays: Annotated[
        Annotated[int, Meta(ge=0, le=120)] | None,
        Meta(description="Longest delay to try, frames; when left out: 0, after a knockdown long enough to rise."),
    ] = None
    spread: Annotated[
        Annotated[float, Meta(gt=0, le=120)] | None,
        Meta(description="My timing spread (standard deviation) in frames; options come off always when left out."),
    ] = None
    trials: Annotated[
        list[OwnTrials], Meta(max_length=400, description="Own trials; they count before `spread`.")
    ] = []
    read: Annotated[Counted | StatedOdds | None, Meta(description="What I expect of them.")] = None
    risk: Annotated[
        Annotated[float, Meta(ge=0, le=10_000)] | None,
        Meta(description="With `read`: what the mix may give up at worst to gain from it, in the unit of the answer."),
    ] = None
    noise: Annotated[
        Annotated[float, Meta(ge=0, le=1000)] | None,
        Meta(description="Options no further apart count as equal; 0.5 points, or 0.005 of a round, when left out."),
    ] = None
    round: Annotated[
        RoundTerms | None,
        Meta(
            description="Count the chance to win the round at these healths instead of damage; `further` and `worth` "
            "are not used then."
        ),
    ] = None
    limit: Annotated[int, Meta(ge=2, le=40, description="Most options a side to show.")] = 12


class Option(Struct, kw_only=True):
    """One option in the mix."""

    option: Annotated[str, Meta(description="Id; `id+n` is the option begun n frames late.")]
    name: str
    share: Annotated[float, Meta(description="How often, 0 to 1.")]
    least: Annotated[float, Meta(description="Least share over all best mixes.")]
    most: Annotated[float, Meta(description="Largest share over all best mixes.")]
    loss: Annotated[float, Meta(description="What it loses against the other side's mix, in the unit of the answer.")]
    delay: Annotated[int, Meta(description="Frames late it is begun.")]
    width: Annotated[int, Meta(description="Frames on which it may be begun with the same results.")]
    chance: Annotated[float | None, Meta(description="Chance that it comes off; null when not asked for.")]
    sentence: Annotated[str, Meta(description="Why it belongs in the mix or does not.")]


class Payoff(Struct, kw_only=True):
    """One option of mine against one of theirs."""

    value: Annotated[float, Meta(description="What it is worth to me, execution included.")]
    clean: Annotated[float, Meta(description="The same when it comes off.")]
    dealt: Annotated[float | None, Meta(description="Damage they take.")]
    taken: Annotated[float | None, Meta(description="Damage I take.")]
    further: Annotated[float | None, Meta(description="What the situation that is left counts.")]
    verdict: str
    by: Annotated[str, Meta(description="Whose attack makes the deciding contact: me, them, both, none.")]
    effect: str
    frame: Annotated[int | None, Meta(description="Frame of that contact.")]
    advantage: Annotated[int | None, Meta(description="Frames by which I am free first afterwards.")]
    knockdown: str | None
    rule: str
    sentence: str


class Lean(Struct, kw_only=True):
    """A mix that gives up ``risk`` at worst to gain from the read."""

    risk: Earned
    earns: Annotated[float, Meta(description="What it earns if the read is right.")]
    worst: Annotated[float, Meta(description="What it earns at worst.")]
    mix: Shares


class ReadAnswer(Struct, kw_only=True):
    """What a read changes."""

    expected: Annotated[dict[str, float], Meta(description="How often I expect which option of theirs.")]
    unused: Annotated[list[str], Meta(description="Options of the read that are no column of the table.")]
    best: Annotated[list[str], Meta(description="My best responses to it.")]
    earns: Annotated[float, Meta(description="What the first of them earns if the read is right.")]
    mix_earns: Annotated[float, Meta(description="What my equilibrium mix earns if the read is right.")]
    exposure: Annotated[float, Meta(description="What that best response earns at worst, if the read is wrong.")]
    worst_reply: Annotated[str, Meta(description="The option of theirs that punishes it.")]
    lean: Annotated[Lean | None, Meta(description="The mix that gains most while giving up at most `risk`.")]
    frontier: Annotated[list[Lean], Meta(description="The same for more and more risk.")]
    observations: Annotated[
        int | None,
        Meta(description="Observations in these proportions after which the best response beats the mix with 95 %."),
    ]
    sentence: str


class Flip(Struct, kw_only=True):
    """A success rate at which another option of mine earns most against their mix."""

    chance: Annotated[float, Meta(description="Success rate, 0 to 1.")]
    below: Annotated[str, Meta(description="What earns most below it.")]
    above: Annotated[str, Meta(description="What earns most above it.")]


class Execution(Struct, kw_only=True):
    """What my own hands do to an option of mine."""

    option: str
    name: str
    chance: Annotated[float, Meta(description="Chance that it comes off.")]
    low: Annotated[float | None, Meta(description="Lower end of 95 % about it; from trials only.")]
    high: Annotated[float | None, Meta(description="Upper end of 95 % about it; from trials only.")]
    source: Annotated[Literal["trials", "spread"], Meta(description="Where the chance comes from.")]
    flips: list[Flip]
    sentence: str


class GuessAnswer(Struct, kw_only=True):
    """Both best mixes, the value, and the payoffs behind them."""

    summary: Annotated[str, Meta(max_length=90, description="One line, at most 90 characters.")]
    situation: Setting
    unit: Annotated[str, Meta(description="What payoffs count: damage (points) or win_chance (of the round).")]
    timed_by: Annotated[Literal["me", "them"], Meta(description="Whose delay it is: them when I am on the ground.")]
    value: Annotated[float, Meta(description="What I earn when both play their best mix.")]
    lower: Annotated[float, Meta(description="My mix earns at least this, whatever they do.")]
    upper: Annotated[float, Meta(description="Their mix concedes at most this, whatever I do.")]
    gap: Annotated[float, Meta(description="upper - lower: the certificate.")]
    pure: Annotated[bool, Meta(description="Whether one option a side does it.")]
    unique: Annotated[bool, Meta(description="Whether my best mix is the only one.")]
    mine: list[Option]
    theirs: list[Option]
    table: Annotated[
        list[list[Payoff]], Meta(description="A row an option of `mine`, a column one of `theirs`.")
    ]
    remarks: Annotated[list[str], Meta(description="Dominated, equal and interchangeable options in words.")]
    read: ReadAnswer | None
    execution: list[Execution]
    left_out: Annotated[dict[str, str], Meta(description="Options that are not in the table, and why.")]
    missing: Annotated[list[Missing], Meta(description="Properties that would bring them in, most options first.")]
    considered: Annotated[list[int], Meta(description="Lines weighed: mine, theirs.")]
    cautions: list[str]
    pack: PackRef
