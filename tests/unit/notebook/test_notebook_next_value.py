"""What more tries are worth: worked by hand, against sampling, and at its limits."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import betabinom

from advisor.notebook.next_lab.value import Stake, perfect_value, trial_value
from advisor.solver.intervals import Posterior


def stake(option: str, gain: float, loss: float, a: float = 1.0, b: float = 1.0) -> Stake:
    return Stake(option=option, gain=gain, loss=loss, chance=Posterior(a, b))


SURE = stake("sure", 4.0, -4.0)
"""Worth 4 whatever comes of it."""


def test_one_try_of_an_even_chance_by_hand() -> None:
    """Uniform chance, 10 or nothing, worth 5; a miss (1/2) leaves 10/3 < 4, so 1/2 (4 - 10/3) = 1/3 is won.

    Knowing p: the integral of 4 - 10 p from 0 to 0.4 is 0.8, and p is below 0.4 with 0.4.
    """
    stakes = [stake("shot", 10.0, 0.0), SURE]
    found = trial_value(stakes, "shot", 1)
    assert (found.value, found.chance) == (pytest.approx(1 / 3), pytest.approx(0.5))
    known = perfect_value(stakes, "shot")
    assert (known.value, known.chance) == (pytest.approx(0.8), pytest.approx(0.4))
    assert trial_value(stakes, "sure", 5).value == perfect_value(stakes, "sure").value == 0


@pytest.mark.parametrize(("a", "b", "gain", "loss"), [(4, 1, 20, 15), (0.5, 0.5, 12, 3), (1, 4, 40, 6), (2.5, 9, 9, 9)])
def test_the_sum_agrees_with_sampling(a: float, b: float, gain: float, loss: float) -> None:
    stakes, n = [SURE, stake("shot", gain, loss, a, b), stake("third", 3.0, 1.0, 5.0, 2.0)], 7
    dice = np.random.default_rng(20)
    chance = dice.beta(a, b, 400_000)
    came_off = dice.binomial(n, chance)
    after = (a + came_off) / (a + b + n) * (gain + loss) - loss
    now = max(stakes[1].worth, 4.0)
    # What is decided after the tries is paid by the chance itself, not by its estimate.
    paid = np.where(after > 4.0, chance * (gain + loss) - loss, 4.0)
    found = trial_value(stakes, "shot", n)
    assert found.value == pytest.approx(paid.mean() - now, abs=5 * paid.std() / len(paid) ** 0.5)
    assert found.chance == pytest.approx(((after > 4.0) != (stakes[1].worth > 4.0)).mean(), abs=0.005)
    k = np.arange(n + 1)
    worth = (a + k) / (a + b + n) * (gain + loss) - loss
    assert found.value == pytest.approx(betabinom.pmf(k, n, a, b) @ np.maximum(worth, 4.0) - now)
    known = np.maximum(chance * (gain + loss) - loss, 4.0)
    assert perfect_value(stakes, "shot").value == pytest.approx(known.mean() - now, abs=0.05)


@pytest.mark.parametrize("prior", [(4.0, 1.0), (0.5, 0.5), (1.0, 4.0)])
def test_ever_more_tries_come_to_perfect_information(prior: tuple[float, float]) -> None:
    stakes = [stake("shot", 10.0, 2.0, *prior), SURE]
    values = [trial_value(stakes, "shot", n).value for n in (1, 10, 100, 10_000)]
    known = perfect_value(stakes, "shot").value
    assert values == sorted(values) and values[-1] <= known
    assert values[-1] == pytest.approx(known, rel=1e-3)


def test_what_can_never_be_best_is_worth_nothing() -> None:
    stakes = [SURE, stake("weak", 3.9, 0.0), stake("lone", 9.0, 0.0)]
    assert trial_value(stakes, "weak", 1_000).value == 0 == perfect_value(stakes, "weak").value
    assert trial_value(stakes, "lone", 10).value > 0
    assert trial_value(stakes[2:], "lone", 10).value == 0
    assert trial_value([SURE, stake("always", 9.0, -4.5)], "always", 10).value == 0
