"""Reads: posterior mixes, best responses and their exposure, and how many observations a read needs."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.errors import AdvisorError, QuestionError
from advisor.solver.matrix import NotSolvable, solve
from advisor.solver.reads import (
    Prior,
    best_response,
    chance_read_pays,
    observations_needed,
    read_from_counts,
    read_from_odds,
)

CYCLE = [[0.0, -1.0, 1.0], [1.0, 0.0, -1.0], [-1.0, 1.0, 0.0]]
ODD_EVEN = [[-2.0, 3.0], [3.0, -4.0]]
"""Ferguson, Game Theory, part II, section 2.2: value 1/12, theirs (7/12, 5/12); citation from memory."""


def test_counts_and_prior_add_up_to_the_posterior_mean() -> None:
    read = read_from_counts([6, 3, 1], Prior(strength=2.0, base=(0.5, 0.0, 0.5)))
    assert read.alphas == pytest.approx((7.0, 3.0, 2.0))
    assert read.mix == pytest.approx((7 / 12, 3 / 12, 2 / 12))
    assert read.observations == 10


def test_a_prior_without_a_base_is_spread_evenly() -> None:
    read = read_from_counts([2, 0, 0], Prior(strength=3.0))
    assert read.mix == pytest.approx((0.6, 0.2, 0.2))


def test_without_observations_the_equilibrium_prior_is_the_read() -> None:
    theirs = solve(ODD_EVEN).columns
    read = read_from_counts([0, 0], Prior(strength=4.0, base=theirs))
    assert read.mix == pytest.approx((7 / 12, 5 / 12))
    assert read.observations == 0


def test_a_prior_of_strength_nothing_leaves_the_shares_as_counted() -> None:
    assert read_from_counts([1, 3], Prior(strength=0.0)).mix == pytest.approx((0.25, 0.75))


def test_odds_come_in_any_scale_and_bring_no_uncertainty() -> None:
    read = read_from_odds([3, 1])
    assert read.mix == (0.75, 0.25)
    assert read.alphas is None
    assert read_from_odds([1e-200, 3e-200]).mix == pytest.approx((0.25, 0.75))


@pytest.mark.parametrize(
    ("counts", "prior", "says"),
    [
        ([1, -1], Prior(strength=1.0), "`-1`"),
        ([1, 1.5], Prior(strength=1.0), "`1.5`"),
        ([True, 1], Prior(strength=1.0), "`True`"),
        ([], Prior(strength=1.0), "no option"),
        ([0, 0], Prior(strength=0.0), "nothing was observed"),
        ([1, 1], Prior(strength=-2.0), "strength is `-2`"),
        ([1, 1], Prior(strength=float("nan")), "`nan`"),
        ([1, 1], Prior(strength=1.0, base=(1.0, 1.0, 1.0)), "3 number(s) for 2"),
        ([1, 1], Prior(strength=1.0, base=(2.0, -1.0)), "`-1`"),
        ([1, 1], Prior(strength=1.0, base=(0.0, 0.0)), "weight 0"),
    ],
)
def test_counts_that_make_no_read_are_refused_in_their_own_words(counts: list[int], prior: Prior, says: str) -> None:
    with pytest.raises(QuestionError) as caught:
        read_from_counts(counts, prior)
    assert says in caught.value.message
    assert caught.value.code == "value-invalid"


def test_best_response_and_what_it_risks() -> None:
    # Against (1/2, 3/10, 1/5) the rows earn -1/10, 3/10, -1/5; row 1 loses 1 to column 2.
    found = best_response(CYCLE, [0.5, 0.3, 0.2])
    assert (found.option, found.options, found.worst_reply) == (1, (1,), 2)
    assert found.earns == pytest.approx(0.3)
    assert found.gain == pytest.approx(0.3)
    assert found.worst == -1.0
    assert found.exposure == pytest.approx(1.0)
    assert found.against_equilibrium == pytest.approx(0.0, abs=1e-12)


def test_of_equal_best_responses_the_one_that_loses_least_is_taken() -> None:
    found = best_response([[4.0, -9.0, 0.0], [4.0, -1.0, 1.0], [0.0, 2.0, 0.0]], [1, 0, 0])
    assert found.options == (0, 1)
    assert (found.option, found.worst) == (1, -1.0)


def test_what_is_outside_the_equilibrium_loses_against_it() -> None:
    # Row 2 is best against column 0 only; the equilibrium of rows 0 and 1 is Odd-Even's.
    game = [*ODD_EVEN, [4.0, -9.0]]
    found = best_response(game, [0.95, 0.05])
    assert found.option == 2
    assert found.against_equilibrium < found.value


def test_a_read_of_another_size_is_refused() -> None:
    with pytest.raises(QuestionError, match="2 number\\(s\\) for 3"):
        best_response(CYCLE, [0.5, 0.5])
    with pytest.raises(QuestionError, match="2 x 2 options, the game of 3 x 3"):
        best_response(CYCLE, [1, 1, 1], solve(ODD_EVEN))
    with pytest.raises(NotSolvable):
        best_response([], [1.0])
    with pytest.raises(AdvisorError):
        best_response(CYCLE, [1.0, float("inf"), 0.0])


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10**6))
def test_a_best_response_earns_at_least_the_value_and_at_least_every_row(seed: int) -> None:
    rng = np.random.default_rng(seed)
    game = rng.integers(-5, 6, (rng.integers(1, 5), rng.integers(1, 5))).astype(float)
    q = rng.dirichlet(np.ones(game.shape[1]))
    found = best_response(game, q.tolist())
    assert found.earns >= found.value - 1e-9
    assert found.earns >= (game @ q).max() - 1e-7
    assert found.exposure >= 0
    assert game[found.option, found.worst_reply] == found.worst == game[found.option].min()


# --- how many observations -------------------------------------------------------------------


def test_the_number_of_observations_is_the_first_that_is_enough() -> None:
    needed = observations_needed(CYCLE, [20, 12, 8], Prior(strength=3.0))
    assert needed is not None and needed > 1
    shares = np.array([0.5, 0.3, 0.2])
    chances = [chance_read_pays(CYCLE, (1.0 + n * shares).tolist()) for n in range(needed + 1)]
    assert chances[needed] >= 0.95
    assert max(chances[:needed]) < 0.95


def test_two_columns_by_the_beta_distribution() -> None:
    """With two columns the gain is positive on one side of a share, so the Beta distribution tells."""
    from scipy import stats

    # Row 1 of Odd-Even earns 3 p - 4 (1 - p), more than 1/12 where p > 7/12.
    def paid(n: int) -> float:
        return float(stats.beta.sf(7 / 12, 1 + 0.8 * n, 1 + 0.2 * n))

    needed = observations_needed(ODD_EVEN, [8, 2], Prior(strength=2.0))
    assert needed == next(n for n in range(1000) if paid(n) >= 0.95)
    late = observations_needed(ODD_EVEN, [62, 38], Prior(strength=2.0), confidence=0.9)
    # The read is nearer to the equilibrium: it takes hundreds, beyond the rungs taken one by one.
    found = next(n for n in range(2000) if stats.beta.sf(7 / 12, 1 + 0.62 * n, 1 + 0.38 * n) >= 0.9)
    assert found > 64
    assert late == found


def test_more_confidence_takes_more_and_a_plainer_habit_less() -> None:
    prior = Prior(strength=3.0)
    by_confidence = [observations_needed(CYCLE, [5, 3, 2], prior, confidence=c) or 0 for c in (0.8, 0.9, 0.95, 0.99)]
    assert by_confidence == sorted(by_confidence) and len(set(by_confidence)) == 4
    plain = observations_needed(CYCLE, [8, 1, 1], prior)
    faint = observations_needed(CYCLE, [40, 32, 28], prior)
    assert plain is not None and faint is not None and plain < by_confidence[2] < faint


def test_no_number_of_observations_makes_an_equilibrium_pay() -> None:
    assert observations_needed(CYCLE, [7, 7, 7], Prior(strength=3.0)) is None
    assert observations_needed([[1.0, 1.0], [0.0, 2.0]], [1, 0], Prior(strength=2.0), at_most=500) is None
    assert observations_needed([[2.0, 2.0]], [1, 5], Prior(strength=2.0), at_most=100) is None


def test_the_search_stops_where_it_is_told() -> None:
    needed = observations_needed(CYCLE, [40, 32, 28], Prior(strength=3.0))
    assert needed is not None
    assert observations_needed(CYCLE, [40, 32, 28], Prior(strength=3.0), at_most=needed) == needed
    assert observations_needed(CYCLE, [40, 32, 28], Prior(strength=3.0), at_most=needed - 1) is None


def test_a_strong_prior_may_need_none() -> None:
    assert observations_needed(CYCLE, [1, 0, 0], Prior(strength=200.0, base=(0.8, 0.1, 0.1))) == 0


@pytest.mark.parametrize(("counts", "confidence", "at_most"), [
    ([0, 0, 0], 0.95, 100), ([1, 1], 0.95, 100), ([1, 1, 1], 1.0, 100), ([1, 1, 1], 0.0, 100),
    ([1, 1, 1], 0.95, -1), ([1, 1, 1], 0.95, 2.5),
])  # fmt: skip
def test_questions_about_observations_that_make_no_sense(counts: list[int], confidence: float, at_most: int) -> None:
    with pytest.raises(QuestionError):
        observations_needed(CYCLE, counts, Prior(strength=3.0), confidence=confidence, at_most=at_most)
