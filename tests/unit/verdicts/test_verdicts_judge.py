"""Of all that rules conclude about one record the most cautious verdict holds."""

from __future__ import annotations

from itertools import permutations

import pytest

from advisor.rules import Conclusion
from advisor.verdicts import judge
from tests.unit.advice.demo import shelf

VOCABULARY = shelf().rules.vocabulary
VERDICTS = list(VOCABULARY.verdicts)


def said(record: int, verdict: str | None, prefer: int = 0, tags: tuple[str, ...] = ()) -> Conclusion:
    return Conclusion(f"rule/{verdict}", record, None, verdict, tags, None, prefer, {})


def test_the_vocabulary_lists_the_verdicts_best_first() -> None:
    assert VERDICTS == ["guaranteed", "in_range", "beats", "holds", "risky", "trades", "unknown", "loses"]


@pytest.mark.parametrize("better", range(len(VERDICTS)))
def test_the_more_cautious_of_two_holds(better: int) -> None:
    for worse in range(better, len(VERDICTS)):
        for pair in permutations([VERDICTS[better], VERDICTS[worse]]):
            (judged,) = judge(1, [said(0, v) for v in pair], VOCABULARY)
            assert judged.verdict == VERDICTS[worse]


def test_a_record_of_which_no_rule_speaks_is_unknown() -> None:
    first, second = judge(2, [said(1, "beats"), said(0, None, prefer=3)], VOCABULARY)
    assert (first.verdict, first.prefer, len(first.conclusions)) == ("unknown", 3, 1)
    assert (second.verdict, second.prefer) == ("beats", 0)
    assert judge(0, [], VOCABULARY) == []


def test_a_conclusion_without_a_verdict_changes_none_but_is_kept() -> None:
    (judged,) = judge(1, [said(0, "holds", 2), said(0, None, -5, ("tag",)), said(0, "beats", 1)], VOCABULARY)
    assert (judged.verdict, judged.prefer) == ("holds", -2)
    assert [c.verdict for c in judged.conclusions] == ["holds", None, "beats"]


def test_the_order_of_conclusions_does_not_matter_to_the_verdict() -> None:
    conclusions = [said(0, "beats", 1), said(0, "trades"), said(1, "guaranteed"), said(0, None, 4)]
    found = {
        tuple((j.verdict, j.prefer) for j in judge(2, order, VOCABULARY)) for order in permutations(conclusions)
    }
    assert found == {(("trades", 5), ("guaranteed", 0))}
