"""Trials beside theory: who decides, on both sides of each edge. The expected verdicts are the module's own rules,
common practice, no published source; the bound after 0 of 12 is checked against a sum over a fine grid.
"""

from __future__ import annotations

import math

import pytest

from advisor.advice.evidence import TrialRules, evidence, interval_of, spread_of, theory_chance
from advisor.errors import QuestionError
from advisor.solver.intervals import Trials


def test_none_of_twelve_overrules_guaranteed() -> None:
    found = evidence("guaranteed", 0, 12)
    assert found.sentence == "theory: guaranteed; lab: 0 of 12 (95 % at most 0.15): the lab decides"
    assert found.follow == "loses"
    assert found.contradiction is not None and found.contradiction.decisive


def test_the_bound_after_none_of_twelve_is_that_of_the_posterior() -> None:
    steps = 200_000
    points = [((i + 0.5) / steps) for i in range(steps)]
    weights = [p**-0.5 * (1 - p) ** 11.5 for p in points]
    high = interval_of(Trials(0, 12)).high
    share = sum(w for p, w in zip(points, weights, strict=True) if p <= high) / sum(weights)
    assert share == pytest.approx(0.95, abs=2e-3)


@pytest.mark.parametrize(
    ("verdict", "k", "n", "follow", "flagged"),
    [
        ("guaranteed", 0, 7, "guaranteed", True), ("guaranteed", 0, 8, "loses", True),
        ("in_range", 1, 20, "loses", True), ("beats", 7, 12, "beats", False), ("holds", 0, 30, "loses", True),
        ("loses", 8, 8, "beats", True), ("loses", 7, 7, "loses", True), ("loses", 0, 12, "loses", False),
        ("loses", 6, 12, "loses", False), ("unknown", 0, 50, "unknown", False), ("trades", 50, 50, "trades", False),
        ("guaranteed", 0, 1, "guaranteed", False), ("guaranteed", 0, 0, "guaranteed", False),
    ],
)  # fmt: skip
def test_who_decides(verdict: str, k: int, n: int, follow: str, flagged: bool) -> None:
    found = evidence(verdict, k, n)
    assert found.follow == follow
    assert (found.contradiction is not None) is flagged


def test_a_tight_window_explains_failures() -> None:
    strict = theory_chance(1.0, 3.0)
    assert strict < 0.2
    fits = evidence("guaranteed", 3, 20, window=1.0, spread=3.0)
    assert fits.contradiction is None and fits.follow == "guaranteed"
    plain = evidence("guaranteed", 3, 20)
    assert plain.follow == "loses"
    better = evidence("guaranteed", 15, 20, window=1.0, spread=3.0)
    assert better.contradiction is not None and not better.contradiction.decisive and better.follow == "guaranteed"


def test_the_chance_of_a_window_by_the_normal_distribution() -> None:
    # Within one deviation lie 68.27 %, within two 95.45 %: tables of the normal distribution.
    assert theory_chance(2.0, 1.0) == pytest.approx(0.6827, abs=5e-5)
    assert theory_chance(4.0, 1.0) == pytest.approx(0.9545, abs=5e-5)


def test_the_settings_move_the_edges() -> None:
    assert evidence("guaranteed", 0, 12, rules=TrialRules(least=13)).follow == "guaranteed"
    assert evidence("trades", 0, 12, rules=TrialRules(working=frozenset({"trades"}))).follow == "loses"
    assert evidence("guaranteed", 14, 20, rules=TrialRules(even=0.95)).follow == "loses"


def test_a_spread_is_learnt_from_windows() -> None:
    sigma = 2.0
    rows = [(w, round(10_000 * math.erf(w / (2 * math.sqrt(2) * sigma))), 10_000) for w in (1.0, 3.0, 6.0)]
    found = spread_of(rows)
    assert found is not None and found.spread == pytest.approx(sigma, rel=0.01)
    assert spread_of([]) is None and spread_of([(1.0, 0, 0)]) is None


@pytest.mark.parametrize(("k", "n"), [(3, 2), (-1, 2)])
def test_counts_that_are_none_are_refused(k: int, n: int) -> None:
    with pytest.raises(QuestionError):
        evidence("beats", k, n)
