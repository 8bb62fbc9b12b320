"""The answer: what to do, in order, with the reasoning attached."""

from __future__ import annotations

from typing import Annotated

from msgspec import Meta, Struct

from advisor.advice.evidence import Evidence

__all__ = [
    "Advice", "Against", "FactShown", "Leaves", "Missing", "PackRef", "Reason", "ResponseAdvice", "Setting",
]

Verdict = Annotated[
    str,
    Meta(description="guaranteed, in_range, beats, holds, risky, trades, unknown or loses, as the vocabulary says."),
]
Lab = Annotated[Evidence | None, Meta(description="What lab trials say; left out where nobody tried it.")]
FrameCount = Annotated[int | None, Meta(description="Frames; null when unknown or not applicable.")]


class FactShown(Struct, kw_only=True):
    """One fact that a rule read: its name in the vocabulary, value, unit, and what it came from."""

    name: str
    value: float | int | str | bool | None
    unit: str = ""
    sources: Annotated[
        list[str] | None,
        Meta(description="Properties behind it (`move: property = value`); only when `sources` is asked for."),
    ] = None


class Reason(Struct, kw_only=True):
    """One rule that fired: its id, the sentence, the facts it read with their numbers."""

    rule: str
    sentence: str
    facts: list[FactShown]


class Leaves(Struct, kw_only=True):
    """What the exchange leaves: my advantage (frames), the distance (pack's unit), a knockdown state, wall, floor."""

    advantage: Annotated[int | None, Meta(description="Frames by which I am free first.")] = None
    distance: Annotated[float | None, Meta(description="Distance in the pack's unit.")] = None
    knockdown: str | None = None
    catch: Annotated[str | None, Meta(description="What a parry's catch leads to.")] = None
    wall: Annotated[
        str | None, Meta(description="Wall effect on the side that is struck; `none`, or null: unknown.")
    ] = None
    floor: Annotated[
        str | None, Meta(description="Floor effect on the side that is struck; `none`, or null: unknown.")
    ] = None


class Against(Struct, kw_only=True, omit_defaults=True):
    """The response against one of their replies; the verdict is theory's, whatever trials say."""

    reply: Annotated[str, Meta(description="Id of the reply; `id@n` is a follow-up delayed to frame n.")]
    name: str
    verdict: Verdict
    by: Annotated[str, Meta(description="Whose attack makes the deciding contact: me, them, both, none, unknown.")]
    effect: Annotated[str, Meta(description="hit, counter_hit, blocked, parried, trade, break, none or unknown.")]
    frame: FrameCount
    dealt: Annotated[float | None, Meta(description="Damage they take; null when unknown.")]
    taken: Annotated[float | None, Meta(description="Damage I take; null when unknown.")]
    leaves: Leaves
    tags: list[str]
    reasons: list[Reason]
    evidence: Lab = None


class Missing(Struct, kw_only=True, frozen=True, order=True):
    """A property that nobody has recorded and that an answer hangs on."""

    move: Annotated[str, Meta(description="Move id; empty for what the question left out.")]
    property: str


class ResponseAdvice(Struct, kw_only=True, omit_defaults=True):
    """One response of mine, with verdict and proof; where trials decide, the numbers stay theory's."""

    option: str
    name: str
    input: str | None
    kind: str
    verdict: Verdict
    beats: Annotated[int, Meta(description="Replies that it beats.")]
    of: Annotated[int, Meta(description="Replies it was set against.")]
    damage: Annotated[float | None, Meta(description="Least damage where it wins; null when it never does or unknown.")]
    risk: Annotated[float | None, Meta(description="Most damage that it takes; null when one of them is unknown.")]
    first_active: FrameCount
    window: Annotated[
        int | None,
        Meta(
            description="How strict it is: frames on which it may be started and still win; 1 is a just frame, "
            "60 that or more. Null when it wins nothing or its timing is fixed by a string."
        ),
    ]
    cost: Annotated[int | None, Meta(description="Meter it costs.")]
    leaves: Leaves
    tags: list[str]
    cautions: list[str]
    loses_to: list[str]
    hangs_on: list[Missing]
    sentence: Annotated[str, Meta(description="One plain sentence: why.")]
    reasons: Annotated[list[Reason], Meta(description="Rules that gave the verdict over all replies.")]
    against: list[Against]
    evidence: Lab = None


class PackRef(Struct, kw_only=True):
    """Which data the answer rests on."""

    id: str
    name: str
    version: str
    hash: Annotated[str, Meta(description="Hash of the pack's content.")]
    rules: Annotated[str, Meta(description="Hash of the rules.")]
    evaluator: Annotated[str, Meta(description="Which engine ran the rules: durable or plain.")]


class Setting(Struct, kw_only=True):
    """The situation as it was understood."""

    me: str
    them: str
    moment: str
    attacker: str
    move: str | None
    advantage: Annotated[int | None, Meta(description="Frames by which I am free first; null: unknown.")]
    distance: Annotated[float | None, Meta(description="Distance once pushback is over; null: unknown.")]
    unit: Annotated[str, Meta(description="The pack's distance unit.")]
    knockdown: str | None
    sentence: str
    replies: Annotated[list[str], Meta(description="Replies that every response was set against.")]


class Advice(Struct, kw_only=True):
    """Ranked responses to one situation."""

    summary: Annotated[str, Meta(max_length=90, description="One line for an overlay, at most 90 characters.")]
    situation: Setting
    responses: list[ResponseAdvice]
    considered: Annotated[int, Meta(description="Responses that were weighed.")]
    counts: Annotated[dict[str, int], Meta(description="How many responses got each verdict.")]
    excluded: Annotated[dict[str, str], Meta(description="Options that are out of the question here, and why.")]
    missing: Annotated[list[Missing], Meta(description="Properties that answers hang on, most answers first.")]
    cautions: list[str]
    pack: PackRef
