"""From what the rules conclude to one verdict for each exchange and each response."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from msgspec import Struct

from advisor.facts import Pair
from advisor.rules.model import Conclusion, Rule, RuleSet
from advisor.rules.vocabulary import Vocabulary

__all__ = ["Judged", "Tally", "doubt", "judge", "tally"]

UNKNOWN = "unknown"


class Judged(Struct, kw_only=True):
    """The verdict on one record, and every conclusion that speaks of it.

    When rules disagree the more cautious verdict (later in the vocabulary's list) holds.
    A record on which no rule gives a verdict is ``unknown``.
    """

    verdict: str
    conclusions: list[Conclusion]
    prefer: int = 0


def judge(count: int, conclusions: Iterable[Conclusion], vocabulary: Vocabulary) -> list[Judged]:
    """One ``Judged`` for each of ``count`` records, in order."""
    rank = {word: i for i, word in enumerate(vocabulary.verdicts)}
    out = [Judged(verdict="", conclusions=[]) for _ in range(count)]
    for conclusion in conclusions:
        judged = out[conclusion.record]
        judged.conclusions.append(conclusion)
        judged.prefer += conclusion.prefer
        verdict = conclusion.verdict
        if verdict and (not judged.verdict or rank[verdict] > rank[judged.verdict]):
            judged.verdict = verdict
    for judged in out:
        judged.verdict = judged.verdict or UNKNOWN
    return out


def doubt(judged: Judged, rule: Rule, rules: RuleSet) -> None:
    """Make the verdict unknown when ``rule``, which may hold, would be more cautious and has not fired."""
    rank = {word: i for i, word in enumerate(rules.vocabulary.verdicts)}
    if rule.verdict is None or judged.verdict == UNKNOWN:
        return
    if any(c.rule == rule.id for c in judged.conclusions):
        return
    if rank[rule.verdict] > rank[judged.verdict]:
        judged.verdict = UNKNOWN


class Tally(Struct, kw_only=True):
    """One response over all replies: how many of each verdict, damage done and taken (points).

    ``value`` is the mean over the replies of damage done less damage taken, unknown counted as 0;
    ``risk`` is the most damage taken (None when one of them is unknown), ``wins`` the replies beaten.
    """

    pairs: list[int]
    counts: dict[str, int]
    damage: float | None
    risk: float | None
    value: float
    wins: int
    prefer: int


def exchange_lands(pair: Pair) -> bool:
    """Whether a contact decides the exchange, so that its damage means something."""
    return pair.exchange is not None and pair.exchange.by != "none"


def _struck(pair: Pair) -> bool:
    """Whether their attack lands on me, whatever its damage."""
    return pair.exchange is not None and pair.exchange.by == "them" and pair.exchange.effect != "parried"


WINS = ("guaranteed", "beats")


def tally(indexes: Sequence[int], pairs: Sequence[Pair], judged: Sequence[Judged]) -> Tally:
    """Add up one response: ``indexes`` are its pairs."""
    counts: dict[str, int] = {}
    dealt: list[float | None] = []
    taken: list[float | None] = []
    value = 0.0
    for i in indexes:
        verdict = judged[i].verdict
        counts[verdict] = counts.get(verdict, 0) + 1
        outcome = pairs[i].outcome
        if outcome is None:
            continue
        if verdict in WINS and exchange_lands(pairs[i]):
            dealt.append(outcome.dealt)
        if outcome.taken is not None or (pairs[i].exchange and _struck(pairs[i])):
            taken.append(outcome.taken)
        value += (outcome.dealt or 0.0) - (outcome.taken or 0.0)
    known = [d for d in dealt if d is not None]
    return Tally(
        pairs=list(indexes),
        counts=counts,
        damage=min(known) if known and len(known) == len(dealt) else None,
        risk=None if None in taken else max((t for t in taken if t is not None), default=0.0),
        wins=sum(counts.get(word, 0) for word in WINS),
        value=value / len(indexes) if indexes else 0.0,
        prefer=sum(judged[i].prefer for i in indexes),
    )
