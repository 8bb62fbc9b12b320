"""Lab trials: intervals against published tables and scipy, and the timing spread behind them."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from advisor.errors import QuestionError
from advisor.solver.intervals import Between, Trials, clopper_pearson, posterior, upper_bound, wilson
from advisor.solver.timing import success
from advisor.solver.timing_spread import spread_from_trials

# Newcombe 1998, Statistics in Medicine 17:857-872, table I; values recomputed; citation from memory.
NEWCOMBE = [
    (81, 263, (0.2553, 0.3662), (0.2527, 0.3676)),
    (15, 148, (0.0624, 0.1605), (0.0578, 0.1617)),
    (0, 20, (0.0, 0.1611), (0.0, 0.1684)),
    (1, 29, (0.0061, 0.1718), (0.0009, 0.1776)),
]


def ends(found: Between) -> tuple[float, float]:
    return found.low, found.high


@pytest.mark.parametrize(("k", "n", "score", "exact"), NEWCOMBE)
def test_newcombe_table(k: int, n: int, score: tuple[float, float], exact: tuple[float, float]) -> None:
    assert ends(wilson(Trials(k, n))) == pytest.approx(score, abs=6e-5)
    assert ends(clopper_pearson(Trials(k, n))) == pytest.approx(exact, abs=6e-5)


def test_nist_handbook_example() -> None:
    """NIST/SEMATECH e-Handbook 7.2.4.1, 4 defects in 20; value recomputed; citation from memory."""
    assert ends(clopper_pearson(Trials(4, 20), 0.9)) == pytest.approx((0.071354, 0.401029), abs=1e-5)


def test_jeffreys_after_none_of_twenty() -> None:
    """Brown, Cai and DasGupta 2001, Statistical Science 16:101-133, put the lower end at 0 there; equal tails do not.

    Values recomputed; citation from memory.
    """
    found = posterior(Trials(0, 20)).interval()
    assert found.high == pytest.approx(0.116639, abs=1e-6)
    assert found.low == pytest.approx(2.4246e-5, rel=1e-4)


def test_the_births_of_bayesian_data_analysis() -> None:
    """Gelman and others, Bayesian Data Analysis, 3rd edition, section 2.4: 437 of 980, uniform prior.

    Values recomputed; citation from memory.
    """
    found = posterior(Trials(437, 980), (1.0, 1.0))
    assert (found.a, found.b) == (438.0, 544.0)
    assert found.mean == pytest.approx(0.446, abs=5e-4)
    assert found.deviation == pytest.approx(0.016, abs=5e-4)
    assert ends(found.interval()) == pytest.approx((0.415, 0.477), abs=5e-4)
    assert found.below(0.485) == pytest.approx(0.9928, abs=5e-5)


@pytest.mark.parametrize(("n", "bound"), [(10, 0.2589), (20, 0.1391), (30, 0.0950), (100, 0.0295)])
def test_none_of_n_leaves_about_three_over_n(n: int, bound: float) -> None:
    """1 - 0.05^(1/n), the rule of three: common practice, no published source."""
    assert upper_bound(Trials(0, n)) == pytest.approx(bound, abs=6e-5)
    assert upper_bound(Trials(0, n)) == pytest.approx(1 - 0.05 ** (1 / n), rel=1e-12)


@pytest.mark.parametrize("confidence", [0.8, 0.95, 0.99])
@pytest.mark.parametrize(("k", "n"), [(0, 1), (1, 1), (0, 12), (5, 12), (12, 12), (3, 400), (399, 400)])
def test_intervals_as_scipy_has_them(k: int, n: int, confidence: float) -> None:
    theirs = stats.binomtest(k, n)
    for ours, method in ((wilson, "wilson"), (clopper_pearson, "exact")):
        wanted = theirs.proportion_ci(confidence, method)
        assert ends(ours(Trials(k, n), confidence)) == pytest.approx((wanted.low, wanted.high), abs=1e-12)
    beta = stats.beta(k + 0.5, n - k + 0.5)
    wanted = beta.interval(confidence)
    assert ends(posterior(Trials(k, n)).interval(confidence)) == pytest.approx(wanted, rel=1e-9, abs=1e-15)


def test_without_tries_anything_may_be() -> None:
    assert wilson(Trials(0, 0)) == clopper_pearson(Trials(0, 0)) == Between(0.0, 1.0)
    assert upper_bound(Trials(0, 0)) == 1.0
    assert posterior(Trials(0, 0)).mean == 0.5


def test_trials_and_confidences_that_cannot_be_are_refused() -> None:
    for k, n in ((3, 2), (-1, 2), (1.0, 2), (1, True)):
        with pytest.raises(QuestionError):
            Trials(k, n)  # type: ignore[arg-type]
    for confidence in (0.0, 1.0, -0.1, 95, math.nan):
        for interval in (wilson, clopper_pearson, upper_bound, spread_of_ten):
            with pytest.raises(QuestionError):
                interval(Trials(1, 2), confidence)
    with pytest.raises(QuestionError, match="the prior is `0`"):
        posterior(Trials(1, 2), (0, 1))


def spread_of_ten(trials: Trials, confidence: float) -> object:
    return spread_from_trials([(2.0, trials.successes, trials.tries)], confidence)


# --- the timing spread -----------------------------------------------------------------------


def test_one_window_gives_the_spread_of_its_rate() -> None:
    # 68.27 % within one standard deviation either side.
    found = spread_from_trials([(2.0, 6827, 10_000)])
    assert found.spread == pytest.approx(1.0, abs=1e-4)
    assert success(2.0, found.spread or 0.0) == pytest.approx(0.6827, abs=1e-12)


def by_scan(rows: list[tuple[float, int, int]], confidence: float) -> tuple[float, float, float]:
    """The likeliest spread and the ends of its interval, read off a fine table of likelihoods."""
    table = np.exp(np.linspace(-4, 7, 110_001))
    total = np.zeros_like(table)
    for window, k, n in rows:
        total += stats.binom.logpmf(k, n, stats.norm.cdf(window / 2 / table) - stats.norm.cdf(-window / 2 / table))
    inside = table[2 * (total.max() - total) <= stats.chi2.ppf(confidence, 1)]
    return float(table[total.argmax()]), float(inside[0]), float(inside[-1])


@pytest.mark.parametrize("confidence", [0.8, 0.95])
@pytest.mark.parametrize(
    "rows", [[(1, 6, 20), (3, 15, 20)], [(1, 0, 10), (2, 4, 10), (6, 10, 10)], [(1, 1, 1), (1, 0, 1)], [(5, 3, 90)],
             [(1.0, 19, 20), (8.0, 1, 20)]],
)  # fmt: skip
def test_the_likeliest_spread_by_a_table(rows: list[tuple[float, int, int]], confidence: float) -> None:
    found = spread_from_trials(rows, confidence)
    assert (found.spread, found.low, found.high) == pytest.approx(by_scan(rows, confidence), rel=3e-4)
    assert found.tries == sum(n for _, _, n in rows)


def test_trials_that_all_came_off_bound_the_spread_from_above() -> None:
    found = spread_from_trials([(2.0, 10, 10), (3.0, 5, 5)])
    assert found.spread is None and found.low == 0.0 and found.high is not None
    assert success(2.0, found.high) ** 10 * success(3.0, found.high) ** 5 == pytest.approx(0.05)


def test_trials_of_which_none_came_off_bound_it_from_below() -> None:
    found = spread_from_trials([(1.0, 0, 20)])
    assert found.spread is None and found.high is None
    # The rule of three again: none of twenty leaves a chance of 0.1391.
    assert success(1.0, found.low) == pytest.approx(0.1391, abs=6e-5)


def test_the_interval_holds_the_true_spread_as_often_as_it_says() -> None:
    rng = np.random.default_rng(7)
    held = 0
    for _ in range(300):
        rows = [(w, int(rng.binomial(40, success(w, 1.6))), 40) for w in (1.0, 2.0, 4.0)]
        found = spread_from_trials(rows)
        held += found.low <= 1.6 <= (found.high or math.inf)
    # 285 expected, standard deviation 3.8.
    assert 270 <= held <= 298


@pytest.mark.parametrize("window", [1e-6, 1e6])
def test_any_unit_of_time_will_do(window: float) -> None:
    found = spread_from_trials([(window, 7, 10)])
    one = spread_from_trials([(1.0, 7, 10)])
    assert found.spread is not None and one.spread is not None and found.high is not None and one.high is not None
    assert found.spread / window == pytest.approx(one.spread)
    assert found.high / window == pytest.approx(one.high)


def test_no_tries_and_no_windows_are_refused() -> None:
    for rows in ([], [(2.0, 0, 0)]):
        with pytest.raises(QuestionError, match="no tries"):
            spread_from_trials(rows)
    with pytest.raises(QuestionError, match="the window is `0`"):
        spread_from_trials([(0, 1, 2)])
    with pytest.raises(QuestionError, match="`3` successes in `2`"):
        spread_from_trials([(1, 3, 2)])
