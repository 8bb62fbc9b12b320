"""Leaning towards a read, against brute grids of mixes."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from advisor.errors import QuestionError
from advisor.solver.lean import frontier, lean
from advisor.solver.matrix import solve
from advisor.solver.reads import best_response

CYCLE = np.array([[0.0, -1.0, 1.0], [1.0, 0.0, -1.0], [-1.0, 1.0, 0.0]])
FINE = 60


def grid() -> NDArray[np.float64]:
    """All mixes of three options in steps of 1/60."""
    return np.array([(i, j, FINE - i - j) for i in range(FINE + 1) for j in range(FINE + 1 - i)]) / FINE


@pytest.mark.parametrize("seed", range(12))
def test_no_mix_of_a_grid_earns_more_within_the_same_loss(seed: int) -> None:
    rng = np.random.default_rng(seed)
    game, q = rng.integers(-6, 7, (3, 3)).astype(float), rng.dirichlet(np.ones(3))
    solved, mixes = solve(game), grid()
    worst, earned = (mixes @ game).min(axis=1), mixes @ game @ q
    for loss in (0.0, 0.3, 1.0, 2.5):
        found = lean(game, q.tolist(), loss)
        rows = np.array(found.rows)
        assert rows.sum() == pytest.approx(1.0) and (rows >= 0).all()
        assert (rows @ game).min() >= solved.value - loss - 1e-8
        allowed = worst >= solved.value - loss
        if allowed.any():
            assert found.earns >= earned[allowed].max() - 1e-8
        # The grid is dense: where the floor is lowered by what a grid step can cost, it comes as near.
        slack = 12 * 2 / FINE
        assert found.earns <= earned[worst >= solved.value - loss - slack].max() + slack


def test_a_lean_worked_by_hand() -> None:
    # Worked by hand: with 2/5 given up in the cycle game, (3/10, 7/10, 0) earns 9/50.
    found = lean(CYCLE, [0.5, 0.3, 0.2], 0.4)
    assert found.rows == pytest.approx((0.3, 0.7, 0.0))
    assert (found.earns, found.worst) == pytest.approx((0.18, -0.4))
    assert (found.gain, found.gives_up) == pytest.approx((0.18, 0.4))


def test_no_loss_leaves_a_unique_equilibrium_and_chooses_among_many() -> None:
    assert lean(CYCLE, [1, 0, 0], 0.0).rows == pytest.approx((1 / 3, 1 / 3, 1 / 3))
    # Every row guarantees 0; against column 1 the second also earns.
    found = lean([[0.0, 0.0], [0.0, 2.0], [0.0, 1.0]], [0.5, 0.5], 0.0)
    assert found.rows == pytest.approx((0.0, 1.0, 0.0))
    assert found.worst == pytest.approx(0.0)


def test_any_loss_allowed_is_the_best_response() -> None:
    found = lean(CYCLE, [0.5, 0.3, 0.2], 1e6)
    assert found.rows == pytest.approx((0.0, 1.0, 0.0))


@pytest.mark.parametrize("scale", [1e-6, 1.0, 1e6])
@pytest.mark.parametrize("shift", [0.0, 40.0])
def test_scale_and_shift_of_the_payoffs_change_nothing(scale: float, shift: float) -> None:
    found = lean((CYCLE + shift) * scale, [0.5, 0.3, 0.2], 0.4 * scale)
    assert found.rows == pytest.approx((0.3, 0.7, 0.0), abs=1e-7)
    assert found.gain / scale == pytest.approx(0.18, abs=1e-7)


@pytest.mark.parametrize("seed", range(10))
def test_the_frontier_rises_ever_more_slowly_to_the_best_response(seed: int) -> None:
    rng = np.random.default_rng(50 + seed)
    game, q = rng.normal(size=(5, 4)), rng.dirichlet(np.ones(4))
    line = frontier(game, q.tolist(), 8)
    best = best_response(game, q.tolist())
    assert [point.loss for point in line] == pytest.approx([best.exposure * k / 8 for k in range(9)])
    steps = np.diff([point.earns for point in line])
    assert (steps >= -1e-9).all()
    assert (np.diff(steps) <= 1e-9).all()
    assert line[0].earns >= best.value - 1e-9
    assert line[-1].earns == pytest.approx(best.earns, abs=1e-8)
    assert all(point.gives_up <= point.loss + 1e-8 for point in line)


def test_one_option_leaves_nothing_to_lean() -> None:
    assert lean([[3.0, 5.0]], [1, 1], 0.0).rows == (1.0,)
    assert [point.earns for point in frontier([[3.0], [7.0]], [1.0], 2)] == [7.0, 7.0, 7.0]


def test_a_loss_or_a_number_of_steps_that_is_none_is_refused() -> None:
    with pytest.raises(QuestionError, match="`-1`"):
        lean(CYCLE, [1, 1, 1], -1.0)
    with pytest.raises(QuestionError, match="`nan`"):
        lean(CYCLE, [1, 1, 1], float("nan"))
    for steps in (0, 1001, 2.5):
        with pytest.raises(QuestionError, match="number of steps"):
            frontier(CYCLE, [1, 1, 1], steps)  # type: ignore[arg-type]
