"""The words that are right in a place are read off the request's type."""

from __future__ import annotations

from typing import Annotated, Literal

import pytest
from msgspec import Meta, Struct

from advisor.facts import Question
from advisor.service.asking.reading import Words
from advisor.service.asking.spelling import words_of


class Leaf(Struct, forbid_unknown_fields=True):
    size: Literal["small", "large"]
    ways: list[Literal["left", "right"]] = []


class Round(Struct, tag_field="shape", tag="round"):
    radius: int


class Square(Struct, tag_field="shape", tag="square"):
    side: int
    leaf: Leaf | None = None


class Tree(Struct, forbid_unknown_fields=True):
    leaves: list[Leaf]
    named: Annotated[dict[str, Leaf], Meta(description="by name")] = {}
    form: Round | Square | None = None
    pick: list[str] | Literal["all"] | None = None


FORM = {"form": {"shape": "square"}}
PLACES = [
    ("", {}, Words(("leaves", "named", "form", "pick"), fields=True)),
    ("/leaves/0", {}, Words(("size", "ways"), fields=True)),
    ("/leaves/7/size", {}, Words(("large", "small"))),
    ("/leaves/0/ways/1", {}, Words(("left", "right"))),
    ("/named/a~1b", {}, Words(("size", "ways"), fields=True)),
    ("/form/shape", {}, Words(("round", "square"))),
    ("/form", {}, Words(("shape", "radius", "side", "leaf"), fields=True)),
    ("/form", FORM, Words(("shape", "side", "leaf"), fields=True)),
    ("/form", {"form": {"shape": ["no", "shape"]}}, Words(("shape", "radius", "side", "leaf"), fields=True)),
    ("/form/leaf", FORM, Words(("size", "ways"), fields=True)),
    ("/pick", {}, Words(("all", "a list of ids"))),
    ("/leaves", {}, Words()),
    ("/nowhere/at/all", {}, Words()),
    ("/form/side", FORM, Words()),
]


@pytest.mark.parametrize(("pointer", "sent", "words"), PLACES, ids=[f"{p} {s}" for p, s, _ in PLACES])
def test_words_of_a_place(pointer: str, sent: object, words: Words) -> None:
    assert words_of(Tree)(pointer, sent) == words


@pytest.mark.parametrize("sent", [None, [], "text", 3, {"leaves": 3}, {"form": "round"}, {"form": []}])
def test_whatever_was_sent_the_words_are_there(sent: object) -> None:
    assert words_of(Tree)("/form/shape", sent) == Words(("round", "square"))
    assert words_of(Tree)("/leaves/0", sent).fields


def test_the_kinds_of_moment_are_those_of_the_question() -> None:
    kinds = ("blocked", "hit", "counter_hit", "whiffed", "advantage", "knockdown", "neutral")
    assert words_of(Question)("/moment/kind", {}) == Words(kinds)
    moment = {"moment": {"kind": "knockdown"}}
    assert words_of(Question)("/moment", moment) == Words(("kind", "floored", "state", "frames"), fields=True)
