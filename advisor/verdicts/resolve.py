"""From what the rules conclude to one verdict for each exchange and each response."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from msgspec import Struct

from advisor.facts import Pair
from advisor.rules.model import Conclusion
from advisor.rules.vocabulary import Vocabulary

__all__ = ["Judged", "Tally", "judge", "tally"]

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


class Tally(Struct, kw_only=True):
    """One response over all replies: how many of each verdict, damage done and taken (points).

    ``value`` is the mean over the replies of damage done less damage taken, unknown counted as 0;
    ``risk`` is the most damage taken.
    """

    pairs: list[int]
    counts: dict[str, int]
    damage: float | None
    risk: float
    value: float
    prefer: int


def exchange_lands(pair: Pair) -> bool:
    """Whether a contact decides the exchange, so that its damage means something."""
    return pair.exchange is not None and pair.exchange.by != "none"


WINS = ("guaranteed", "beats")


def tally(indexes: Sequence[int], pairs: Sequence[Pair], judged: Sequence[Judged]) -> Tally:
    """Add up one response: ``indexes`` are its pairs."""
    counts: dict[str, int] = {}
    dealt: list[float | None] = []
    risk = value = 0.0
    for i in indexes:
        verdict = judged[i].verdict
        counts[verdict] = counts.get(verdict, 0) + 1
        outcome = pairs[i].outcome
        if outcome is None:
            continue
        if verdict in WINS and exchange_lands(pairs[i]):
            dealt.append(outcome.dealt)
        risk = max(risk, outcome.taken or 0.0)
        value += (outcome.dealt or 0.0) - (outcome.taken or 0.0)
    known = [d for d in dealt if d is not None]
    return Tally(
        pairs=list(indexes),
        counts=counts,
        damage=min(known) if known and len(known) == len(dealt) else None,
        risk=risk,
        value=value / len(indexes) if indexes else 0.0,
        prefer=sum(judged[i].prefer for i in indexes),
    )
