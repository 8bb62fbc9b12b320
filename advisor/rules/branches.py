"""Conditions as alternatives: negation pushed into the tests, then a list of plain conjunctions.

Pushing negation inwards keeps Kleene's logic: a test and its inverse are both unknown on an
unknown fact, so a condition is true exactly when one conjunction has all its tests true.
"""

from __future__ import annotations

from advisor.rules.model import All, Condition, Not, Some, Test

__all__ = ["INVERSE", "MAX_BRANCHES", "Branch", "TooWideError", "branches", "positive"]

MAX_BRANCHES = 24
"""Most alternatives a rule may unfold into; each becomes a rule of the engine."""

INVERSE = {
    "is": "is_not",
    "is_not": "is",
    "at_least": "below",
    "below": "at_least",
    "at_most": "above",
    "above": "at_most",
    "in": "not_in",
    "not_in": "in",
    "has": "has_not",
    "has_not": "has",
}

Branch = tuple[Test, ...]


class TooWideError(Exception):
    """The condition has more than ``MAX_BRANCHES`` alternatives."""


def positive(condition: Condition, *, negate: bool = False) -> Condition:
    """The same condition (its negation when ``negate``) without any ``Not``."""
    if isinstance(condition, Not):
        return positive(condition.item, negate=not negate)
    if isinstance(condition, Test):
        return _inverse(condition) if negate else condition
    items = tuple(positive(item, negate=negate) for item in condition.items)
    return All(items) if isinstance(condition, All) != negate else Some(items)


def _inverse(test: Test) -> Test:
    if test.op == "known":
        return Test(test.read, "known", literal=not test.literal)
    return Test(test.read, INVERSE[test.op], literal=test.literal, term=test.term)


def branches(condition: Condition) -> tuple[Branch, ...]:
    """The disjunctive normal form: true exactly when all tests of one branch are true.

    Errors: ``TooWideError`` when there are more than ``MAX_BRANCHES``.
    """
    return tuple(dict.fromkeys(_unfold(positive(condition))))


def _unfold(condition: Condition) -> list[Branch]:
    if isinstance(condition, Test):
        return [(condition,)]
    if isinstance(condition, Some):
        found = [branch for item in condition.items for branch in _unfold(item)]
        return _capped(found)
    assert isinstance(condition, All)
    product: list[Branch] = [()]
    for item in condition.items:
        parts = _unfold(item)
        product = _capped([tuple(dict.fromkeys(left + right)) for left in product for right in parts])
    return product


def _capped(found: list[Branch]) -> list[Branch]:
    if len(found) > MAX_BRANCHES:
        raise TooWideError
    return found
