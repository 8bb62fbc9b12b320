"""Rules as data: conditions, what a rule concludes, and a whole set of rules.

A condition is three-valued (Kleene): a test on a fact that a record lacks is unknown, also under
negation; a rule concludes only where its condition is true.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from msgspec import Struct

from advisor.rules.vocabulary import OTHER, Value, Vocabulary

__all__ = [
    "WHOSE",
    "All",
    "Arithmetic",
    "Conclusion",
    "Condition",
    "Not",
    "Number",
    "OpenRule",
    "Read",
    "Rule",
    "RuleSet",
    "Some",
    "Term",
    "Test",
    "conditions_in",
    "reads_in",
    "term_reads",
]


WHOSE = ("situation", "record", "other")
"""Whose fact is read: the situation's, this record's, or another record's of the same question."""


class Read(Struct, frozen=True):
    """The value of a fact; ``whose`` is one of ``WHOSE``."""

    fact: str
    whose: str = "record"

    @property
    def other(self) -> bool:
        return self.whose == "other"

    @property
    def name(self) -> str:
        return OTHER + self.fact if self.other else self.fact


class Number(Struct, frozen=True):
    """A number that stands in a rule."""

    value: int | float


class Arithmetic(Struct, frozen=True):
    """``op`` is sum, difference or product, worked out from left to right."""

    op: str
    terms: tuple[Term, ...]


Term = Read | Number | Arithmetic


class Test(Struct, frozen=True):
    """One comparison of a fact with a literal (``literal``; a tuple for in / not_in) or a term."""

    __test__ = False  # a rule's test, not one for pytest to collect

    read: Read
    op: str
    literal: int | float | bool | str | tuple[int | float | bool | str, ...] | None = None
    term: Term | None = None


class All(Struct, frozen=True):
    """True when every item is true."""

    items: tuple[Condition, ...]


class Some(Struct, frozen=True):
    """True when one item is true."""

    items: tuple[Condition, ...]


class Not(Struct, frozen=True):
    """True when the item is false; unknown when it is unknown."""

    item: Condition


Condition = Test | All | Some | Not


class Rule(Struct, frozen=True, kw_only=True):
    """One rule, read and checked; ``facts`` are what it derives, in the order written.

    ``pairs`` is true when it reads ``other.`` facts and so looks at two records at once.
    """

    id: str
    title: str
    scope: str
    status: str
    replaces: str
    why: str
    condition: Condition
    verdict: str | None
    tags: tuple[str, ...]
    facts: tuple[tuple[str, Value | Term], ...]
    caution: str | None
    prefer: int
    because: str
    limits: str
    source: str
    slots: tuple[str, ...]
    pairs: bool
    reads: frozenset[str]
    """Names of the facts that its condition and derived expressions read, without ``other.``."""
    file: str


class Conclusion(Struct, frozen=True):
    """What one rule says of one record (of a pair of records when ``other`` is set).

    ``caution`` is a template; ``facts`` are the derived values this rule gives.
    """

    rule: str
    record: int
    other: int | None
    verdict: str | None
    tags: tuple[str, ...]
    caution: str | None
    prefer: int
    facts: dict[str, Value]


class OpenRule(Struct, frozen=True):
    """A rule that is neither true nor false of a record, and the missing facts it hangs on."""

    rule: str
    record: int
    missing: frozenset[str]


class RuleSet:
    """All loaded rules in load order, ready for an evaluator.

    ``strata(scope)`` are the rules of a scope in layers: a rule that reads a derived fact stands
    in a later layer than every rule that derives it. ``hash`` changes with any rule or fact.
    """

    def __init__(
        self,
        rules: Mapping[str, Rule],
        vocabulary: Vocabulary,
        strata: Mapping[str, tuple[tuple[Rule, ...], ...]],
        hash: str,
    ) -> None:
        self.rules: dict[str, Rule] = dict(rules)
        self.vocabulary = vocabulary
        self.hash = hash
        self.order: dict[str, int] = {rule: index for index, rule in enumerate(self.rules)}
        self._strata = dict(strata)

    def strata(self, scope: str) -> tuple[tuple[Rule, ...], ...]:
        return self._strata.get(scope, ())

    def reads(self, scope: str) -> frozenset[str]:
        """Facts that the conditions and derived expressions of the rules of ``scope`` read.

        Facts of the situation are among them; for ``situation``: those that any rule reads.
        """
        facts = self.vocabulary.facts
        if scope == "situation":
            every = frozenset[str]().union(*(rule.reads for rule in self.rules.values()))
            return frozenset(name for name in every if facts[name].scope == "situation")
        return frozenset[str]().union(*(r.reads for r in self.rules.values() if r.scope == scope))

    def slots(self, rule_id: str) -> tuple[str, ...]:
        """Names in the sentences of a rule, as written (``other.`` kept), in order."""
        return self.rules[rule_id].slots


def conditions_in(condition: Condition) -> Iterator[Test]:
    """Every test in a condition, in the order written."""
    if isinstance(condition, Test):
        yield condition
    elif isinstance(condition, Not):
        yield from conditions_in(condition.item)
    else:
        for item in condition.items:
            yield from conditions_in(item)


def term_reads(term: Term) -> Iterator[Read]:
    """Every fact read in a term."""
    if isinstance(term, Read):
        yield term
    elif isinstance(term, Arithmetic):
        for part in term.terms:
            yield from term_reads(part)


def reads_in(condition: Condition) -> Iterator[Read]:
    """Every fact read in a condition, right sides included."""
    for test in conditions_in(condition):
        yield test.read
        if test.term is not None:
            yield from term_reads(test.term)
