"""The chance that a weighted sum of Dirichlet shares is positive: Beta distribution, quadrature and draws agree."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import integrate, stats

from advisor.errors import QuestionError
from advisor.solver.imhof import chance_above_zero


@pytest.mark.parametrize(
    ("a", "b"),
    [(3, 4), (0.5, 0.5), (0.01, 0.02), (1e-3, 2e-3), (300, 200), (9000, 1000), (2.5, 1e-4), (1, 1), (2e4, 1.5e4)],
)
@pytest.mark.parametrize("share", [0.05, 0.4, 0.57, 0.893])
def test_two_columns_are_a_beta_distribution(a: float, b: float, share: float) -> None:
    # (1 - s) p - s (1 - p) > 0 exactly where p > s.
    found = chance_above_zero([1 - share, -share], [a, b])
    assert found == pytest.approx(float(stats.beta.sf(share, a, b)), abs=1e-12)


@pytest.mark.parametrize("seed", range(12))
def test_groups_of_equal_gains_are_a_beta_distribution_too(seed: int) -> None:
    rng = np.random.default_rng(seed)
    won, lost = rng.gamma(1.0, 4.0, 3), rng.gamma(1.0, 4.0, 4)
    gain, loss = rng.uniform(0.1, 5.0, 2)
    found = chance_above_zero([gain] * 3 + [-loss] * 4, [*won, *lost])
    assert found == pytest.approx(float(stats.beta.sf(loss / (gain + loss), won.sum(), lost.sum())), abs=1e-12)


@pytest.mark.parametrize("seed", range(8))
def test_the_integral_as_published_by_another_quadrature(seed: int) -> None:
    """Imhof 1961, Biometrika 48:419-426: the integral over u itself; citation from memory."""
    rng = np.random.default_rng(100 + seed)
    d, alpha = rng.normal(size=5), rng.uniform(0.8, 6.0, 5)

    def integrand(u: float) -> float:
        theta, rho = alpha @ np.arctan(d * u), np.prod((1 + d * d * u * u) ** (alpha / 2))
        return float(np.sin(theta) / (u * rho))

    wanted = 0.5 + integrate.quad(integrand, 0, np.inf, limit=400, epsabs=1e-11)[0] / np.pi
    assert chance_above_zero(d, alpha) == pytest.approx(wanted, abs=1e-9)


@pytest.mark.parametrize("seed", range(6))
def test_draws_fall_above_zero_as_often(seed: int) -> None:
    rng = np.random.default_rng(200 + seed)
    d, alpha = rng.normal(size=4), rng.uniform(0.2, 8.0, 4)
    drawn = float((rng.dirichlet(alpha, 100_000) @ d > 0).mean())
    # Five standard errors at most; the seeds are fixed.
    assert chance_above_zero(d, alpha) == pytest.approx(drawn, abs=5 * 0.5 / np.sqrt(100_000))


def test_both_signs_share_the_whole() -> None:
    d, alpha = np.array([0.3, -2.0, 1.1, 0.0]), np.array([2.0, 1.5, 4.0, 9.0])
    assert chance_above_zero(d, alpha) + chance_above_zero(-d, alpha) == pytest.approx(1.0, abs=1e-13)
    assert chance_above_zero(d * 1e6, alpha) == pytest.approx(chance_above_zero(d, alpha), abs=1e-13)


def test_gains_of_one_sign_leave_no_doubt() -> None:
    assert chance_above_zero([1.0, 0.0], [1.0, 1.0]) == 1.0
    assert chance_above_zero([-1.0, 0.0], [1.0, 1.0]) == 0.0
    assert chance_above_zero([0.0, 0.0], [1.0, 1.0]) == 0.0
    # An option that is never taken cannot spoil it.
    assert chance_above_zero([1.0, -5.0], [1.0, 0.0]) == 1.0


def test_far_tails_are_certain() -> None:
    assert chance_above_zero([0.5, -0.5], [8000.0, 2000.0]) == 1.0
    assert chance_above_zero([-0.5, 0.5], [8000.0, 2000.0]) == 0.0


@pytest.mark.parametrize(("d", "alpha"), [([1.0], [1.0, 2.0]), ([1.0, 2.0], [-1.0, 2.0]), ([1.0, 2.0], [0.0, 0.0]),
                                          ([float("nan"), 1.0], [1.0, 1.0])])  # fmt: skip
def test_what_is_no_distribution_is_refused(d: list[float], alpha: list[float]) -> None:
    with pytest.raises(QuestionError):
        chance_above_zero(d, alpha)
