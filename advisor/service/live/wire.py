"""What is submitted to a channel, and what comes out of it."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta, Raw, Struct

from advisor.advice import Advice
from advisor.facts import Question
from advisor.sentences.catalogue import ENGLISH
from advisor.service.live.events import Why

__all__ = [
    "Kept", "LiveAdvice", "LiveChannel", "LiveClear", "LivePage", "LiveState", "PageQuery", "StreamQuery",
]  # fmt: skip

Hold = Annotated[float, Meta(ge=0.1, le=86_400)]
Note = Annotated[str, Meta(min_length=1, max_length=200)]
EventId = Annotated[str, Meta(description="Where the event stands: `<epoch>-<n>`, to be sent back as `Last-Event-ID`.")]
At = Annotated[str, Meta(description="When it came: UTC, RFC 3339.")]
Channel = Annotated[str, Meta(description="Name of the channel.")]


class LiveState(Struct, kw_only=True, forbid_unknown_fields=True):
    """A state to show on a channel."""

    question: Annotated[Question, Meta(description="The state of the game, and what to weigh.")]
    note: Annotated[Note | None, Meta(description="A short text that goes along.")] = None
    hold: Annotated[Hold | None, Meta(description="Seconds that it may be shown; until the next when left out.")] = None


class LiveAdvice(Struct, kw_only=True, tag_field="event", tag="advice"):
    """A state and what is advised: the data of the event `advice`."""

    id: EventId
    at: At
    channel: Channel
    note: Annotated[Note | None, Meta(description="The producer's text.")]
    hold: Annotated[Hold | None, Meta(description="Seconds that it may be shown; null: until the next.")]
    question: Annotated[Question, Meta(description="The question as it was submitted.")]
    advice: Annotated[Advice, Meta(description="What `POST /v1/advice` answers to it.")]
    language: Annotated[str, Meta(description="Language of its sentences: a tag such as `en`.")] = ENGLISH


class LiveClear(Struct, kw_only=True, tag_field="event", tag="clear"):
    """Nothing is shown any more: the data of the event `clear`."""

    id: EventId
    at: At
    channel: Channel
    why: Annotated[
        Why,
        Meta(
            description="`cleared`: by the producer; `expired`: nothing followed for too long; `reset`: the history of "
            "the channel was lost; `unanswerable`: packs were changed, and the state means nothing in them."
        ),
    ]


class Kept(Struct, kw_only=True):
    """What is kept of a state, in the order in which it is shown; question and advice are not read again."""

    note: str | None
    hold: float | None
    question: Raw
    advice: Raw
    language: str = ENGLISH


class LiveChannel(Struct, kw_only=True):
    """A channel that shows something."""

    channel: Channel
    at: Annotated[str, Meta(description="When its state came: UTC, RFC 3339.")]
    subscribers: Annotated[int, Meta(ge=0, description="Streams open on the server that answers.")]


class LivePage(Struct, kw_only=True):
    """Channels that show something, by name."""

    channels: list[LiveChannel]
    next: Annotated[str | None, Meta(description="`after` of the next page; null: there is none.")]


class PageQuery(Struct, kw_only=True, forbid_unknown_fields=True):
    """Which channels to list."""

    after: Annotated[
        Annotated[str, Meta(max_length=64)], Meta(description="Only names that come after this one.")
    ] = ""
    limit: Annotated[int, Meta(ge=1, le=1000, description="How many to list.")] = 100


class StreamQuery(Struct, kw_only=True, forbid_unknown_fields=True):
    """From where to stream, and whether to go on."""

    last_event_id: Annotated[
        Annotated[str, Meta(max_length=200)],
        Meta(
            description="Id of the last event that was seen, where the header `Last-Event-ID` cannot be sent; the "
            "header goes first. An id that is not known (any more) gets the current state."
        ),
    ] = ""
    follow: Annotated[
        Literal["yes", "no"], Meta(description="`no`: end after what there is, instead of waiting for more.")
    ] = "yes"
