"""What a comparison of two versions answers, and the named question that it asks of both."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from msgspec import Meta, Struct

from advisor.facts import Question
from advisor.sentences import mark

__all__ = ["RULE", "AskedBefore", "Comparison", "Consequence", "Kind", "PropertyChange", "PunishChange", "StudyBefore"]

Kind = Literal["punish", "frame_class", "string", "knockdown", "answer"]

RULE = mark(
    "Ranked by weight: the damage at stake times the number of opponents concerned. At stake is, for a punish, the "
    "most that one which appeared or vanished does, or by how much the best one changed; for a string, what its next "
    "hit does; for a wake-up option, what it does; for an answer, the greater of what the two best responses do, and "
    "for that of a study, the most that one of its changed rows does. Unknown damage counts 0. Ties by kind, character "
    "and id."
)


class AskedBefore(Struct, kw_only=True, forbid_unknown_fields=True):
    """A question of a study set, with the name by which it is known."""

    name: Annotated[str, Meta(min_length=1, max_length=120)]
    question: Question


class StudyBefore(Struct, kw_only=True, forbid_unknown_fields=True):
    """A study's request, as JSON has it, with the name by which it is known."""

    name: Annotated[str, Meta(min_length=1, max_length=200)]
    study: str
    request: dict[str, Any]


class PropertyChange(Struct, kw_only=True):
    """One property, before and after. A value of None is unknown, or absent when the whole thing came or went."""

    character: Annotated[str | None, Meta(description="Null for conventions and what every fighter has.")]
    move: Annotated[str | None, Meta(description="Null for conventions and the character's own.")]
    property: Annotated[str, Meta(description="Path of the property; empty when the whole thing came or went.")]
    what: Literal["added", "removed", "changed"]
    before: Any = None
    after: Any = None
    derived: Annotated[bool, Meta(description="Worked out by the reader, in one version at least.")] = False


class PunishChange(Struct, kw_only=True):
    """One opponent's punishes of one blocked move at one distance."""

    them: str
    distance: str
    appeared: list[str]
    vanished: list[str]
    unsure: Annotated[list[str], Meta(description="Of these, the ones that were or became unknown.")]
    in_doubt: Annotated[list[str], Meta(description="Attacks that cannot land in one version and may in the other.")]
    best_before: Annotated[float | None, Meta(description="Damage of the best; null when there is none.")]
    best_after: Annotated[float | None, Meta(description="Damage of the best; null when there is none.")]


class Consequence(Struct, kw_only=True):
    """One thing that follows from the changes."""

    kind: Kind
    id: Annotated[str, Meta(description="Move ids with `>` between, a state and option, or a question's name.")]
    character: str | None
    weight: Annotated[float, Meta(description="Damage at stake times opponents.")]
    damage: Annotated[float, Meta(description="Damage at stake.")]
    opponents: Annotated[int, Meta(description="How many opponents it concerns.")]
    before: str
    after: str
    sentence: str
    punishes: list[PunishChange] = []


class Comparison(Struct, kw_only=True):
    """Everything that changed from one version to the other, consequences by weight."""

    summary: str
    before: Annotated[str, Meta(description="Version and hash of the old pack.")]
    after: str
    same: bool
    distances: list[str]
    properties: list[PropertyChange]
    consequences: list[Consequence]
    rule: str
    cautions: list[str]
