"""What both evaluators share: running the layers in order, deriving facts, building conclusions."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Mapping, Sequence

from msgspec import Struct

from advisor.rules.model import Conclusion, Rule, RuleSet
from advisor.rules.values import evaluate, refuse
from advisor.rules.vocabulary import FACT_LIMIT, Value

__all__ = ["Hit", "Staged", "Stats", "Values"]

Values = Mapping[str, Value]
Hit = tuple[int, int, int]
"""Index of the record, load order of the rule, index of the other record (-1: none)."""

_Maker = Callable[[int, int, Values, Sequence[Values]], Conclusion]


class Stats(Struct):
    """Counters since the evaluator was made: runs of a layer (engine: sessions), rules that fired."""

    sessions: int = 0
    firings: int = 0


class Staged(ABC):
    """An evaluator of a rule set; subclasses say which rules are true of which records."""

    name: str = ""

    def __init__(self, ruleset: RuleSet) -> None:
        self.ruleset = ruleset
        self.stats = Stats()
        self._makers = [_maker(rule) for rule in ruleset.rules.values()]

    @abstractmethod
    def _hits(self, scope: str, layer: int, situation: Values, records: Sequence[Values]) -> list[Hit]:
        """Every (record, rule, other) of a layer whose condition is true, in that order."""

    def conclude(self, scope: str, situation: Values, records: Sequence[Values]) -> list[Conclusion]:
        """All conclusions about ``records``, in the order of record, rule, other record.

        Shape: one mapping from fact to value for each record; a missing fact is unknown.
        Errors: ``Fault`` when a value does not fit its fact.
        """
        layers = self.ruleset.strata(scope)
        if not layers or not records:
            return []
        derived = _Derived(records)
        found: list[tuple[Hit, Conclusion]] = []
        for layer in range(len(layers)):
            rows = derived.rows
            hits = self._hits(scope, layer, situation, rows)
            for hit in hits:
                record, order, other = hit
                conclusion = self._makers[order](record, other, situation, rows)
                if conclusion.facts:
                    derived.take(record, order, conclusion.facts)
                found.append((hit, conclusion))
        self.stats.firings += len(found)
        if len(layers) > 1:
            found.sort(key=lambda pair: pair[0])
        return [conclusion for _, conclusion in found]

    def extended(self, scope: str, situation: Values, records: Sequence[Values]) -> Sequence[Values]:
        """The records with the facts that rules derive of them."""
        derived = _Derived(records)
        order = self.ruleset.order
        for conclusion in self.conclude(scope, situation, records):
            derived.take(conclusion.record, order[conclusion.rule], conclusion.facts)
        return derived.rows


class _Derived:
    """The records as rules see them; what stood in a record stays, else the first rule wins."""

    def __init__(self, records: Sequence[Values]) -> None:
        self.given = records
        self.rows: list[Values] = list(records)
        self.winner: dict[tuple[int, str], int] = {}

    def take(self, record: int, order: int, facts: Values) -> None:
        row = dict(self.rows[record])
        for name, value in facts.items():
            if self.given[record].get(name) is not None:
                continue
            if order < self.winner.get((record, name), order + 1):
                self.winner[record, name] = order
                row[name] = value
        self.rows[record] = row


def _maker(rule: Rule) -> _Maker:
    name, verdict, tags, caution, prefer = rule.id, rule.verdict, rule.tags, rule.caution, rule.prefer

    def plain(record: int, other: int, _situation: Values, _records: Sequence[Values]) -> Conclusion:
        return Conclusion(name, record, None if other < 0 else other, verdict, tags, caution, prefer, {})

    def deriving(record: int, other: int, situation: Values, records: Sequence[Values]) -> Conclusion:
        rows = (situation, records[record], records[other] if other >= 0 else {})
        facts: dict[str, Value] = {}
        for fact, term in rule.facts:
            value = evaluate(term, rows)
            if value is None:
                continue
            if isinstance(value, (int, float)) and not -FACT_LIMIT <= value <= FACT_LIMIT:
                refuse(fact, value)
            facts[fact] = value
        at = None if other < 0 else other
        return Conclusion(name, record, at, verdict, tags, caution, prefer, facts)

    return deriving if rule.facts else plain
