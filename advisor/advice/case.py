"""One question on its way: its situation, the exchanges worked out so far, and the verdict on each."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Protocol, TypeVar

from msgspec import Struct

from advisor.facts import Pair, Ready, Record, Situation, pair_of
from advisor.rules.model import Conclusion, RuleSet
from advisor.rules.open_rules import possible_verdicts
from advisor.rules.vocabulary import Value
from advisor.verdicts import Judged, doubt, judge

__all__ = ["Case", "Evaluator", "judge_pairs"]

T = TypeVar("T")


class Evaluator(Protocol):
    """What runs the rules; see ``advisor.rules``."""

    name: str

    def conclude(
        self, scope: str, situation: Mapping[str, Value], records: Sequence[Mapping[str, Value]]
    ) -> list[Conclusion]: ...


def judge_pairs(
    pairs: Sequence[Pair], situation: Record, rules: RuleSet, evaluator: Evaluator
) -> list[Judged]:
    """The verdict on each exchange.

    Where the exchange itself is decided a verdict still hangs if a more cautious rule may hold.
    """
    if not pairs:
        return []
    records = [p.record for p in pairs]
    judged = judge(len(pairs), evaluator.conclude("exchange", situation, records), rules.vocabulary)
    settled = [i for i, pair in enumerate(pairs) if not pair.missing]
    for n, rule in possible_verdicts(rules, "exchange", situation, [records[i] for i in settled]):
        doubt(judged[settled[n]], rule, rules)
    return judged


class Case(Struct, kw_only=True):
    """Everything about one question, handed from step to step; ``pairs`` by response, then reply."""

    situation: Situation
    record: Record
    rules: RuleSet
    pairs: list[Pair] = []
    judged: list[Judged] = []
    replies: list[str] = []

    def meet(self, mine: list[Ready], theirs: list[Ready], evaluator: Evaluator) -> None:
        """Set every response against more replies, and judge those exchanges."""
        fresh = [pair_of(self.situation, a, b) for a in mine for b in theirs]
        judged = judge_pairs(fresh, self.record, self.rules, evaluator)
        self.pairs = _woven(self.pairs, fresh, len(mine))
        self.judged = _woven(self.judged, judged, len(mine))
        self.replies = [*self.replies, *(r.entry.key for r in theirs)]


def _woven(old: list[T], new: list[T], rows: int) -> list[T]:
    """Two tables of ``rows`` rows, flattened, side by side."""
    if not old or not rows:
        return [*old, *new]
    a, b = len(old) // rows, len(new) // rows
    return [x for i in range(rows) for x in (*old[i * a : i * a + a], *new[i * b : i * b + b])]
