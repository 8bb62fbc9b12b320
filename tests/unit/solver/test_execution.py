"""The chance to hit a window, what it does to a game, and where it flips the advice."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from scipy import stats

from advisor.errors import QuestionError
from advisor.solver.execution import executed, success
from advisor.solver.flips import Flip, belongs, flips
from advisor.solver.matrix import NotSolvable, solve
from advisor.studies.coverage_timing import success_of

FRAME = 1000 / 60
CYCLE = [[0.0, -1.0, 1.0], [1.0, 0.0, -1.0], [-1.0, 1.0, 0.0]]

# Spread in ms, chance to hit 1, 2, 3 frames of 1/60 s: recomputed from the normal distribution, no published source.
CHANCES = [
    (5, (0.9044, 0.9991, 1.0)), (8, (0.7024, 0.9628, 0.9982)), (10, (0.5953, 0.9044, 0.9876)),
    (15, (0.4215, 0.7335, 0.9044)), (20, (0.3231, 0.5953, 0.7887)), (25, (0.2611, 0.4950, 0.6827)),
    (30, (0.2188, 0.4215, 0.5953)),
]  # fmt: skip


@pytest.mark.parametrize(("spread", "chances"), CHANCES)
def test_chance_to_hit_whole_frames(spread: float, chances: tuple[float, ...]) -> None:
    for frames, chance in enumerate(chances, 1):
        assert success(frames * FRAME, spread) == pytest.approx(chance, abs=6e-5)
        # The same in frames, and as the coverage study has it.
        assert success(frames, spread / FRAME) == pytest.approx(chance, abs=6e-5)
        assert success_of(frames, spread / FRAME) == success(frames, spread / FRAME)


@pytest.mark.parametrize(
    ("chance", "spread"), [(0.5, 12.355), (0.8, 6.503), (0.9, 5.066), (0.95, 4.252), (0.99, 3.235)]
)
def test_spread_needed_for_one_frame(chance: float, spread: float) -> None:
    """Recomputed from the normal distribution, no published source."""
    assert success(FRAME, spread) == pytest.approx(chance, abs=6e-5)


@pytest.mark.parametrize(("off", "chance"), [(5, 0.5393), (FRAME / 2, 0.4522), (FRAME, 0.1961)])
def test_aim_off_the_middle_of_a_frame(off: float, chance: float) -> None:
    """One frame, spread 10 ms: recomputed from the normal distribution, no published source."""
    assert success(FRAME, 10, off) == pytest.approx(chance, abs=6e-5)
    assert success(FRAME, 10, -off) == success(FRAME, 10, off)


@pytest.mark.parametrize("off", [0.0, 0.4, 1.5, 7.0])
def test_chance_is_a_difference_of_the_normal_distribution(off: float) -> None:
    for window in (0.5, 1.0, 3.0, 12.0):
        wanted = stats.norm.cdf(window / 2, off, 0.9) - stats.norm.cdf(-window / 2, off, 0.9)
        assert success(window, 0.9, off) == pytest.approx(float(wanted), abs=1e-14)


def test_a_tiny_chance_keeps_its_digits() -> None:
    wanted = stats.norm.sf(19.5) - stats.norm.sf(20.5)
    assert success(1.0, 1.0, 20.0) == pytest.approx(float(wanted), rel=1e-9)


def test_the_ends_of_window_and_spread() -> None:
    assert success(0, 1.5) == 0.0
    assert success(0, 0) == 0.0
    assert success(1, 0) == 1.0
    assert success(2, 0, 1.0) == 0.5
    assert success(2, 0, 1.5) == 0.0
    for window, spread, off in ((-1, 1, 0), (1, -1, 0), (1, math.nan, 0), (1, 1, math.inf), (True, 1, 0)):
        with pytest.raises(QuestionError):
            success(window, spread, off)


# --- the executed game -----------------------------------------------------------------------


def test_each_row_is_mixed_with_its_miss() -> None:
    game = executed([[10, -4], [2, 2]], [0.25, 1.0], [[-6, -8], [-1, -1]])
    assert game.tolist() == [[-2.0, -7.0], [2.0, 2.0]]


def test_one_row_of_misses_and_one_chance_stand_for_all() -> None:
    game = executed([[10, -4], [2, 2]], 0.5, [-2, 0])
    assert game.tolist() == [[4.0, -2.0], [0.0, 1.0]]
    assert executed(CYCLE, 1.0, CYCLE).tolist() == CYCLE


def test_what_does_not_fit_the_game_is_refused() -> None:
    with pytest.raises(QuestionError, match="misses are 2 x 2, the game 3 x 3"):
        executed(CYCLE, 0.5, [[0, 0], [0, 0]])
    with pytest.raises(QuestionError, match="2 number\\(s\\) for 3"):
        executed(CYCLE, [0.5, 0.5], [0, 0, 0])
    with pytest.raises(QuestionError, match=r"`1\.5`"):
        executed(CYCLE, 1.5, [0, 0, 0])
    with pytest.raises(NotSolvable):
        executed(CYCLE, 0.5, [0, float("nan"), 0])


# --- flips -----------------------------------------------------------------------------------


def test_a_strong_option_that_fails_needs_a_success_rate() -> None:
    # 60 p - 40 (1 - p) is more than 20 from p = 0.6, and more than 0 from p = 0.4.
    found = flips([[60.0], [20.0], [0.0]], [[-40.0], [20.0], [0.0]], [1.0, 1.0, 1.0], 0, columns=[1.0])
    assert [(round(f.chance, 12), f.below, f.above, f.leads) for f in found] == [
        (0.4, (2,), (0,), False), (0.6, (1,), (0,), True),
    ]  # fmt: skip


def test_an_option_better_missed_leads_below() -> None:
    found = flips([[0.0], [2.0]], [[4.0], [2.0]], 1.0, 0, columns=[1.0])
    assert found == [Flip(chance=0.5, below=(0,), above=(1,), leads=True)]


@pytest.mark.parametrize("seed", range(10))
def test_who_leads_on_either_side_of_a_crossing(seed: int) -> None:
    rng = np.random.default_rng(seed)
    game, missed = rng.normal(size=(4, 3)), rng.normal(size=(4, 3)) - 0.5
    chances, q = rng.uniform(0.2, 1.0, 4), rng.dirichlet(np.ones(3))
    found = flips(game, missed, chances.tolist(), 2, columns=q.tolist())
    tops = set()
    for side in np.linspace(0.0005, 0.9995, 1000):
        chances[2] = side
        tops.add(int((executed(game, chances, missed) @ q).argmax()))
    assert len(tops) - 1 == sum(f.leads for f in found)
    for flip in found:
        for chance, ahead, behind in (
            (flip.chance - 1e-6, flip.below[0], flip.above[0]), (flip.chance + 1e-6, flip.above[0], flip.below[0]),
        ):  # fmt: skip
            chances[2] = chance
            earned = executed(game, chances, missed) @ q
            assert earned[ahead] > earned[behind]
            if flip.leads:
                assert earned[ahead] == earned.max()


def test_the_success_rate_at_which_an_option_enters_the_mix() -> None:
    # Rows 1 and 2 alone are worth -1/3 and their only best mix is (1/3, 0, 2/3), against which row 0 earns
    # 2/3 p - 2 (1 - p): more than -1/3 from p = 5/8.
    missed = [[-2.0, -2.0, -2.0]] * 3
    found = belongs(CYCLE, missed, 1.0, 0)
    assert found is not None
    assert found == pytest.approx((0.625, 1.0), abs=1e-8)
    assert belongs(CYCLE, CYCLE, 1.0, 0) == (0.0, 1.0)
    assert belongs([[0.0, 0.0], [1.0, 1.0]], [-1.0, -1.0], 1.0, 0) is None
    assert belongs([[3.0, 4.0]], [0.0, 0.0], 1.0, 0) == (0.0, 1.0)


def test_an_option_may_belong_only_at_middling_success() -> None:
    # Hit it beats column 0, missed it beats column 1: between them it is worth at most 5.
    game, missed = [[10.0, 0.0], [4.0, 4.0]], [[0.0, 10.0], [4.0, 4.0]]
    assert belongs(game, missed, 1.0, 0) == pytest.approx((0.4, 0.6), abs=1e-8)
    assert [f.chance for f in flips(game, missed, 1.0, 0)] == pytest.approx([0.4, 0.6], abs=1e-6)


@pytest.mark.parametrize("seed", range(40))
def test_the_game_is_worth_more_with_an_option_exactly_where_it_belongs(seed: int) -> None:
    rng = np.random.default_rng(seed)
    m, n = (int(size) for size in rng.integers(2, 6, 2))
    game, missed = rng.integers(-4, 5, (m, n)).astype(float), rng.integers(-4, 3, (m, n)).astype(float)
    option, chances = int(rng.integers(m)), rng.uniform(0.3, 1.0, m)
    found = belongs(game, missed, chances.tolist(), option)
    without = solve(np.delete(executed(game, chances, missed), option, axis=0)).value
    marks = list(np.linspace(0, 1, 15))
    if found is not None:
        marks += [found[0] - 1e-3, found[0] + 1e-3, found[1] - 1e-3, found[1] + 1e-3]
    for p in marks:
        if not 0 <= p <= 1 or (found is not None and min(abs(p - found[0]), abs(p - found[1])) < 1e-4):
            continue
        chances[option] = p
        more = solve(executed(game, chances, missed)).value > without + 1e-7
        assert more == (found is not None and found[0] < p < found[1]), p


@pytest.mark.parametrize("seed", range(6))
def test_between_flips_the_support_stays_and_the_option_comes_where_it_belongs(seed: int) -> None:
    rng = np.random.default_rng(300 + seed)
    game, missed = rng.normal(size=(4, 4)), rng.normal(size=(4, 4)) - 1.0
    found = flips(game, missed, 1.0, 1)
    edges = [0.0, *(f.chance for f in found), 1.0]
    assert edges == sorted(edges)
    chances = np.ones(4)
    for k, (low, high) in enumerate(pairwise(edges)):
        chances[1] = (low + high) / 2
        support = tuple(int(i) for i in np.flatnonzero(np.array(solve(executed(game, chances, missed)).rows) > 1e-7))
        if k:
            assert found[k - 1].above == support
        if k < len(found):
            assert found[k].below == support
    within = belongs(game, missed, 1.0, 1)
    changes = [f.chance for f in found if (1 in f.below) != (1 in f.above)]
    ends = [end for end in within or () if 0 < end < 1]
    assert changes == pytest.approx(ends, abs=2e-6)


def test_an_option_that_is_none_is_refused() -> None:
    for option in (-1, 3, 1.0, True):
        with pytest.raises(QuestionError, match="the option is"):
            flips(CYCLE, CYCLE, 1.0, option)  # type: ignore[arg-type]
    with pytest.raises(QuestionError, match="tolerance"):
        flips(CYCLE, CYCLE, 1.0, 0, tolerance=0.0)
