"""What the study of a round is asked and answers."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta, Struct

from advisor.advice.answer import PackRef
from advisor.facts.question import Advantage, Away, Fighter, Id, Ids, KnockedDown, Name, Neutral

__all__ = ["Chance", "ComebackRule", "Place", "Round", "RoundAnswer", "RoundTerms", "Share", "Stand", "Threshold"]

Clock = Annotated[
    Annotated[float, Meta(gt=1, le=10_000)] | Literal["none"],
    Meta(
        description="Exchanges after which time runs out, on average (each may be the last); the one with the larger "
        "share of health wins then. `none`: no clock, and a bracket stays wide where both can avoid each other."
    ),
]
Low = Annotated[float, Meta(description="Chance to win the round, certified lower bound.")]
High = Annotated[float, Meta(description="Chance to win the round, certified upper bound.")]
Points = Annotated[float, Meta(description="Points of health.")]


class Place(Struct, kw_only=True, forbid_unknown_fields=True):
    """One situation of the round."""

    name: Annotated[Id, Meta(description="Name of the situation, a word.")]
    moment: Annotated[
        Advantage | KnockedDown | Neutral, Meta(description="Advantage, knockdown or neutral.")
    ]
    distance: Annotated[
        Away | Name | None, Meta(description="Distance: a number or a named one; that of the request when left out.")
    ] = None
    wall: Annotated[
        Literal["none", "me", "them"], Meta(description="Who stands near a wall.")
    ] = "none"
    responses: Annotated[Ids | None, Meta(description="My options here; all when left out.")] = None
    replies: Annotated[Ids | None, Meta(description="Their options here; key moves and defence when left out.")] = None


class ComebackRule(Struct, kw_only=True, forbid_unknown_fields=True):
    """A side that is nearly beaten hits harder."""

    below: Annotated[float, Meta(gt=0, lt=1, description="Share of full health below which it holds.")]
    damage: Annotated[float, Meta(gt=1, le=10, description="What its damage is multiplied by.")]


class Round(Struct, kw_only=True, forbid_unknown_fields=True):
    """What are the situations of a round worth at these healths?"""

    me: Fighter
    them: Fighter
    pack: Annotated[Id | None, Meta(description="Pack id; the default pack when left out.")] = None
    distance: Annotated[
        Away | Name | None, Meta(description="Distance in neutral; the pack's nearest named one when left out.")
    ] = None
    situations: Annotated[
        Annotated[list[Place], Meta(min_length=1, max_length=8)] | None,
        Meta(
            description="The situations, neutral first; when left out: neutral, ahead, behind, they_down, i_am_down, "
            "and they_at_wall, i_am_at_wall where the pack has wall effects.",
        ),
    ] = None
    steps: Annotated[
        int, Meta(ge=1, le=60, description="Steps of the larger full health; damage is rounded to them.")
    ] = 20
    options: Annotated[
        int, Meta(ge=1, le=12, description="Most options a side in each situation, those that matter for damage.")
    ] = 6
    comeback: Annotated[ComebackRule | None, Meta(description="A comeback rule; none when left out.")] = None
    draw: Annotated[float, Meta(ge=0, le=1, description="What a double knock-out is worth to me.")] = 0.5
    clock: Clock = 40.0
    tolerance: Annotated[float, Meta(ge=1e-6, le=0.1, description="Widest bracket of a chance to win.")] = 1e-4
    show: Annotated[Id | None, Meta(description="The situation to show in full; the first when left out.")] = None


class RoundTerms(Struct, kw_only=True, forbid_unknown_fields=True):
    """The round behind a guess; as in the study of a round."""

    steps: Annotated[int, Meta(ge=1, le=60, description="Steps that the larger full health is counted in.")] = 20
    options: Annotated[int, Meta(ge=1, le=12, description="Most options a side in each situation.")] = 6
    comeback: Annotated[ComebackRule | None, Meta(description="A comeback rule; none when left out.")] = None
    draw: Annotated[float, Meta(ge=0, le=1, description="What a double knock-out is worth to me.")] = 0.5
    clock: Clock = 40.0


class Chance(Struct, kw_only=True):
    """One situation at the healths that were asked."""

    name: str
    lower: Low
    upper: High
    sentence: Annotated[str, Meta(description="What the situation is.")]
    mine: Annotated[list[str], Meta(description="My options in it.")]
    theirs: Annotated[list[str], Meta(description="Their options in it.")]
    left_out: Annotated[int, Meta(description="Options of mine that hang on something unknown.")]


class Share(Struct, kw_only=True):
    """One option of a mix."""

    name: str
    share: Annotated[float, Meta(description="How often, 0 to 1.")]


class Threshold(Struct, kw_only=True):
    """A health at which the round turns."""

    what: Annotated[str, Meta(description="certain, possible, jump, my_comeback or their_comeback.")]
    health: Points
    option: Annotated[str, Meta(description="The option of mine that does it; empty when none does.")]
    sentence: str


class Stand(Struct, kw_only=True):
    """The chance to win over both healths in one situation, row by my health, column by theirs, from 1 step up."""

    situation: str
    lower: list[list[float]]
    upper: list[list[float]]


class RoundAnswer(Struct, kw_only=True):
    """Chances to win the round, in certified brackets."""

    summary: Annotated[str, Meta(max_length=90, description="One line, at most 90 characters.")]
    me: str
    them: str
    my_health: Points
    their_health: Points
    points_per_step: Points
    rounding: Annotated[float, Meta(description="Largest rounding of one damage to whole steps, in points.")]
    closed: Annotated[bool, Meta(description="Whether every bracket is within the tolerance.")]
    widest: Annotated[float, Meta(description="Widest bracket.")]
    chances: Annotated[list[Chance], Meta(description="Every situation at the healths that were asked.")]
    mine: Annotated[list[Share], Meta(description="My mix in the situation shown, at those healths.")]
    theirs: Annotated[list[Share], Meta(description="Theirs.")]
    thresholds: list[Threshold]
    stand: Stand
    next: Annotated[
        dict[str, dict[str, int]],
        Meta(description="How often the exchanges of each situation lead to which: cells counted."),
    ]
    kept: Annotated[bool, Meta(description="Whether it was worked out before and kept on disk.")]
    cautions: list[str]
    pack: PackRef
