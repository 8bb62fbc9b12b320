"""Filling the sentences of rules: ``{fact}`` slots become values as a player would write them."""

from __future__ import annotations

import re
from collections.abc import Mapping

from advisor.rules.vocabulary import OTHER, Fact, Value, Vocabulary
from advisor.sentences import in_words, mark

__all__ = ["fill", "shown", "word_said"]

SAID = (
    mark("guaranteed"), mark("in_range"), mark("beats"), mark("holds"), mark("risky"), mark("trades"),
    mark("unknown"), mark("loses"), mark("blocked"), mark("hit"), mark("counter_hit"), mark("whiffed"),
    mark("advantage"), mark("knockdown"), mark("neutral"), mark("parried"), mark("trade"), mark("break"),
    mark("none"), mark("standing"), mark("crouching"), mark("airborne"), mark("grounded"), mark("recovery"),
    mark("blockstun"), mark("hitstun"), mark("free"), mark("on_block"), mark("on_hit"), mark("on_counter_hit"),
)  # fmt: skip
"""Words of the product that sentences say: verdicts, moments, effects, postures, what holds a side."""

_SLOT = re.compile(r"\{([^{}]*)\}")


def fill(template: str, vocabulary: Vocabulary, facts: Mapping[str, Value]) -> str:
    """``template`` with each ``{fact}`` replaced by its value.

    A slot ``{other.fact}`` takes the value under that whole name. Signed facts keep their sign,
    a fact that ``facts`` lacks reads ``unknown``.
    """

    def value(slot: re.Match[str]) -> str:
        name = slot.group(1)
        fact = vocabulary.facts.get(name.removeprefix(OTHER))
        return slot.group(0) if fact is None else shown(fact, facts.get(name))

    return _SLOT.sub(value, template)


def shown(fact: Fact, value: Value | None) -> str:
    """One value in words: ``+3``, ``1.25``, ``yes``, ``hand, foot``, ``unknown``."""
    if value is None:
        return in_words("unknown")
    if isinstance(value, bool):
        return in_words("yes") if value else in_words("no")
    if isinstance(value, (int, float)):
        return _number(value, signed=fact.signed)
    if isinstance(value, frozenset):
        return ", ".join(_word(fact, word) for word in sorted(value)) or in_words("none")
    return value if fact.type == "text" else _word(fact, value)


def word_said(word: str) -> str:
    """A word of the product as people read it: ``in_range`` is ``in range``."""
    return in_words(word).replace("_", " ")


def _word(fact: Fact, word: str) -> str:
    """A word of a closed list is the product's, any other is an id of the pack."""
    return word_said(word) if fact.values else word.replace("_", " ")


def _number(value: float, *, signed: bool) -> str:
    text = f"{value:.2f}".rstrip("0").rstrip(".") if isinstance(value, float) else str(value)
    text = "0" if text == "-0" else text
    return f"+{text}" if signed and float(text) > 0 else text
