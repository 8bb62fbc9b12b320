"""Filling the sentences of rules: ``{fact}`` slots become values as a player would write them."""

from __future__ import annotations

import re
from collections.abc import Mapping

from advisor.rules.vocabulary import OTHER, Fact, Value, Vocabulary

__all__ = ["fill", "shown"]

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
        return "unknown"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, (int, float)):
        return _number(value, signed=fact.signed)
    if isinstance(value, frozenset):
        return ", ".join(word.replace("_", " ") for word in sorted(value)) or "none"
    return value if fact.type == "text" else value.replace("_", " ")


def _number(value: float, *, signed: bool) -> str:
    text = f"{value:.2f}".rstrip("0").rstrip(".") if isinstance(value, float) else str(value)
    text = "0" if text == "-0" else text
    return f"+{text}" if signed and float(text) > 0 else text
