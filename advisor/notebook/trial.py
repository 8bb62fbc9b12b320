"""One trial as it is written down, and what counts as the same situation."""

from __future__ import annotations

import hashlib
from typing import Annotated, Any

import msgspec
from msgspec import Meta, Struct

from advisor.errors import QuestionError
from advisor.facts.lookup import distance_in
from advisor.facts.question import Fighter, Moment, Question
from advisor.pack.model import Pack
from advisor.units import from_micro

__all__ = ["Side", "Situation", "Trial", "canonical", "checked", "content_of", "situation_key", "situation_of"]

Count = Annotated[int, Meta(ge=0, le=1_000_000)]
Text = Annotated[str, Meta(max_length=2_000)]
Id = Annotated[str, Meta(min_length=1, max_length=64)]
Key = Annotated[str, Meta(min_length=1, max_length=200)]


class Side(Struct, kw_only=True, frozen=True, forbid_unknown_fields=True):
    """What of one side makes the situation: character, stance, back, and whether the other is near a wall."""

    character: Id
    stance: str | None = None
    back_turned: bool = False
    near_wall: bool | None = None


class Situation(Struct, kw_only=True, frozen=True, forbid_unknown_fields=True):
    """What counts as the same situation: pack, both sides, the moment and the distance (pack's unit).

    Healths, meters, the floor and what was asked to be weighed do not: they change what an outcome is worth,
    not whether it comes off. What is unknown is a value of its own, so a situation with the wall unknown is
    another than one without a wall. A named distance is the number that the pack has for it.
    """

    pack: Id
    me: Side
    them: Side
    moment: Moment
    distance: float | None = None


class Trial(Struct, kw_only=True, frozen=True, forbid_unknown_fields=True):
    """``successes`` in ``tries`` of a response against a reply (or none) in a situation.

    Units: ``delay`` and ``window`` in frames; ``time`` is UTC, ISO 8601. ``id``, ``time`` and ``cursor`` are
    the notebook's; ``key`` makes adding idempotent, the id stands in when it is left out. ``corrects`` is the
    id of the record that this one replaces: that one stays, and counts no longer.
    """

    situation: Situation
    response: Id
    successes: Count
    tries: Annotated[int, Meta(ge=1, le=1_000_000)]
    reply: Id | None = None
    delay: Annotated[int, Meta(ge=-10_000, le=10_000)] | None = None
    window: Annotated[float, Meta(gt=0, le=100_000)] | None = None
    player: Id | None = None
    data_version: Annotated[str, Meta(max_length=200)] = ""
    pack_hash: Annotated[str, Meta(max_length=200)] = ""
    note: Text = ""
    corrects: Id | None = None
    key: Key | None = None
    id: str = ""
    time: str = ""
    cursor: str = ""


def situation_of(question: Question, pack: Pack) -> Situation:
    """The situation that a question is about. Errors: ``Unanswerable`` for a distance that the pack has not."""
    away = distance_in(pack, question.distance)
    return Situation(
        pack=pack.id, me=_side(question.me), them=_side(question.them), moment=question.moment,
        distance=None if away is None else from_micro(away),
    )  # fmt: skip


def situation_key(situation: Situation) -> str:
    """SHA-256 of the canonical JSON, in hexadecimal."""
    return hashlib.sha256(canonical(situation)).hexdigest()


def canonical(value: Any) -> bytes:
    """JSON with its keys in order and no spaces: equal values give equal bytes."""
    return msgspec.json.encode(msgspec.to_builtins(value), order="deterministic")


def content_of(trial: Trial) -> str:
    """SHA-256 of what was tried and said, the key apart; a retry may come when other data are loaded."""
    bare = msgspec.structs.replace(trial, id="", time="", cursor="", key=None, data_version="", pack_hash="")
    return hashlib.sha256(canonical(bare)).hexdigest()


def checked(trial: Trial) -> Trial:
    """The trial, every bound held. Errors: ``QuestionError`` with the pointer of the value."""
    if trial.successes > trial.tries:
        raise QuestionError(
            "value-invalid", f"`{trial.successes}` successes in `{trial.tries}` tries",
            help="no more successes than tries", pointer="/successes",
        )  # fmt: skip
    try:
        return msgspec.convert(msgspec.to_builtins(trial), Trial)
    except msgspec.ValidationError as error:
        said, _, at = str(error).partition(" - at `$")
        pointer = at.rstrip("`").replace(".", "/")
        raise QuestionError("value-invalid", said[:1].lower() + said[1:], pointer=pointer) from None


def _side(fighter: Fighter) -> Side:
    return Side(
        character=fighter.character, stance=fighter.stance, back_turned=fighter.back_turned,
        near_wall=fighter.near_wall,
    )  # fmt: skip
