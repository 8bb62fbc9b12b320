"""The order of the answer: one sort key."""

from __future__ import annotations

from advisor.pack.model import Move
from advisor.rules.vocabulary import Vocabulary
from advisor.verdicts import Tally

__all__ = ["Key", "sort_key"]

LATE = 1000
KINDS = ("guard", "movement", "parry", "attack")
Key = tuple[int, float, float, float, int, int]


def sort_key(
    verdict: str, prefer: int, tally: Tally, advantage: int | None, move: Move, vocabulary: Vocabulary
) -> Key:
    """Verdict first; then what rules prefer; then the share of replies it beats;
    then mean damage won; then advantage left; then speed.

    What does not attack comes in the order guard, movement, parry. Units: damage in points, advantage in frames.
    """
    order = list(vocabulary.verdicts)
    return (
        order.index(verdict),
        -float(prefer),
        -tally.wins / max(1, len(tally.pairs)),
        -tally.value,
        -(advantage if advantage is not None else -99),
        (move.hits[0].first_active or LATE) if move.hits else LATE + KINDS.index(move.kind),
    )
