"""A question as it is asked: the state of the game, submitted by a person or a program."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta, Struct

__all__ = [
    "Advantage",
    "Asked",
    "Blocked",
    "CounterHit",
    "Explain",
    "Fighter",
    "HitLanded",
    "KnockedDown",
    "Moment",
    "Neutral",
    "Question",
    "TrialMode",
    "Whiffed",
]

Id = Annotated[str, Meta(min_length=1, max_length=64, description="An id, as the pack lists it.")]
Ids = Annotated[list[Id], Meta(max_length=400)]
Who = Literal["me", "them"]
Held = Literal["recovery", "blockstun", "hitstun"]
Replies = Ids | Literal["key", "all"] | None
Explain = Literal["none", "brief", "full"]
TrialMode = Literal["follow", "show", "ignore"]
FloorBreaks = Annotated[bool | None, Meta(description="The floor here can break; unknown when left out.")]
Name = Annotated[str, Meta(min_length=1, max_length=64, description="A named distance of the pack.")]
Away = Annotated[float, Meta(ge=0, le=1000, description="A distance in the pack's unit.")]


class _After(Struct, kw_only=True, forbid_unknown_fields=True):
    attacker: Annotated[Who, Meta(description="Whose move it was.")]
    move: Annotated[Id, Meta(description="Id of the move, of the attacker's character.")]


class Blocked(_After, tag_field="kind", tag="blocked"):
    """A move was blocked."""


class HitLanded(_After, tag_field="kind", tag="hit"):
    """A move hit."""


class CounterHit(_After, tag_field="kind", tag="counter_hit"):
    """A move hit as a counter-hit."""


class Whiffed(_After, tag_field="kind", tag="whiffed"):
    """A move missed; the clock starts after its last active frame."""


class Advantage(Struct, kw_only=True, forbid_unknown_fields=True, tag_field="kind", tag="advantage"):
    """Raw frame advantage, however it came about."""

    frames: Annotated[int, Meta(ge=-200, le=200, description="Frames by which I can act before them; negative: after.")]
    held: Annotated[
        Held,
        Meta(description="What holds the later side: recovery (cannot block), blockstun, hitstun."),
    ] = "recovery"


class KnockedDown(Struct, kw_only=True, forbid_unknown_fields=True, tag_field="kind", tag="knockdown"):
    """Somebody lies on the ground; the other stands over it."""

    floored: Annotated[Who, Meta(description="Who lies on the ground.")]
    state: Annotated[Id, Meta(description="Knockdown state, one of the pack's.")]
    frames: Annotated[
        int,
        Meta(ge=-200, le=300, description="Frames by which the other can act before a wake-up option begins."),
    ]


class Neutral(Struct, kw_only=True, forbid_unknown_fields=True, tag_field="kind", tag="neutral"):
    """Both are free."""


Moment = Blocked | HitLanded | CounterHit | Whiffed | Advantage | KnockedDown | Neutral


class Fighter(Struct, kw_only=True, forbid_unknown_fields=True):
    """One side: its character, and what is known of its state. What is left out is unknown."""

    character: Annotated[Id, Meta(description="Character id.")]
    health: Annotated[
        Annotated[float, Meta(ge=0, le=100_000)] | None,
        Meta(description="Health left, in points; the character's own when left out."),
    ] = None
    meter: Annotated[Annotated[int, Meta(ge=0, le=100_000)] | None, Meta(description="Meter at hand.")] = None
    stance: Annotated[Id | None, Meta(description="Stance it is in; none when left out.")] = None
    back_turned: Annotated[bool, Meta(description="Its back is turned.")] = False
    near_wall: Annotated[bool | None, Meta(description="The other side is near a wall.")] = None


class Asked(Struct, kw_only=True, forbid_unknown_fields=True):
    """The state of the game, as every request that is about a moment has it."""

    me: Fighter
    them: Fighter
    moment: Annotated[Moment, Meta(description="What just happened.")]
    pack: Annotated[Id | None, Meta(description="Pack id; the default pack when left out.")] = None
    distance: Annotated[
        Away | Name | None, Meta(description="Distance at contact: a number or a named one; unknown when left out.")
    ] = None
    floor_breaks: FloorBreaks = None

    def question(self, *, responses: list[str] | None = None, replies: Replies = None) -> Question:
        """The same state, with the options to weigh."""
        return Question(
            me=self.me, them=self.them, moment=self.moment, pack=self.pack, distance=self.distance,
            floor_breaks=self.floor_breaks, responses=responses, replies=replies,
        )  # fmt: skip


class Question(Asked, kw_only=True, forbid_unknown_fields=True):
    """The state of the game, and what to weigh.

    ``distance`` is the distance between the two when the move touched (or now, for advantage and
    neutral), as a number or a named distance; unknown when left out.
    """

    responses: Annotated[Ids | None, Meta(description="Weigh only these options of mine; all when left out.")] = None
    replies: Annotated[
        Replies,
        Meta(description="Their options to set mine against; chosen by the situation when left out."),
    ] = None
    limit: Annotated[int, Meta(ge=1, le=400, description="How many responses to list with their reasons.")] = 10
    sources: Annotated[bool, Meta(description="List the properties behind every fact of the listed responses.")] = False
    explain: Annotated[
        Explain,
        Meta(
            description="How much of the proof to give: none (verdicts, numbers and one sentence; `reasons` and "
            "`against` are empty), brief (reasons as sentences, without their facts), full."
        ),
    ] = "full"
    trials: Annotated[
        TrialMode | None,
        Meta(
            description="What lab trials of this situation do: follow (where they are clear enough they decide verdict "
            "and order), show (they stand beside theory), ignore. The service's setting when left out."
        ),
    ] = None
    player: Annotated[
        Annotated[str, Meta(min_length=1, max_length=64)] | None,
        Meta(description="Who plays: their trials at known windows give the timing spread that theory reckons with."),
    ] = None
