"""Domination, all optimal mixes and likeness, beside tests that go another way about it.

Optimal mixes: every extreme pair comes from a nonsingular square part of the matrix (Shapley and
Snow 1950; citation from memory), so small games can be tried out part by part. Domination: an option
is undominated when it is a best reply to a mix that plays everything, and not strictly dominated when
it is one to any mix (Pearce 1984; citation from memory).
"""

from __future__ import annotations

from itertools import combinations
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.optimize import linprog

from advisor.solver.matrix import NotSolvable, certify, solve
from advisor.solver.structure import Alike, SideStructure, Use, _Polytope, dominated, in_words, structure

Array = np.ndarray[Any, np.dtype[np.float64]]

MIXED = [[0, 4, 6], [5, 7, 4], [9, 6, 3]]
TIED = [[1, 5], [4, 4], [6, 2]]


def kernels(game: Array) -> list[Array]:
    """Every extreme optimal mix of the rows, by trying all square parts."""
    lifted = game - game.min() + 1
    m, n = game.shape
    found = []
    for size in range(1, min(m, n) + 1):
        for rows in combinations(range(m), size):
            for columns in combinations(range(n), size):
                part = lifted[np.ix_(rows, columns)]
                if abs(np.linalg.det(part)) < 1e-9:
                    continue
                inverse = np.linalg.inv(part)
                total = inverse.sum()
                if abs(total) < 1e-9:
                    continue
                x, y = np.zeros(m), np.zeros(n)
                x[list(rows)], y[list(columns)] = inverse.sum(axis=0) / total, inverse.sum(axis=1) / total
                if min(x.min(), y.min()) > -1e-9 and certify(game, x, y).gap < 1e-9:
                    found.append(x)
    return found


GAMES = st.tuples(st.integers(1, 4), st.integers(1, 4)).flatmap(
    lambda shape: arrays(np.float64, shape, elements=st.integers(-3, 3).map(float))
)


@settings(max_examples=40, deadline=None)
@given(GAMES)
def test_the_ranges_span_all_extreme_mixes(game: Array) -> None:
    found = structure(game)
    mine, theirs = np.array(kernels(game)), np.array(kernels(-game.T))
    for side, ends in ((found.rows, mine), (found.columns, theirs)):
        assert [use.least for use in side.uses] == pytest.approx(ends.min(axis=0), abs=1e-7)
        assert [use.most for use in side.uses] == pytest.approx(ends.max(axis=0), abs=1e-7)
        assert side.unique == bool((np.ptp(ends, axis=0) < 1e-7).all())
    losses = found.equilibrium.value - theirs @ game.T
    assert [use.least_loss for use in found.rows.uses] == pytest.approx(losses.min(axis=0), abs=1e-7)
    assert [use.most_loss for use in found.rows.uses] == pytest.approx(losses.max(axis=0), abs=1e-7)
    losses = mine @ game - found.equilibrium.value
    assert [use.most_loss for use in found.columns.uses] == pytest.approx(losses.max(axis=0), abs=1e-7)


def best_reply_to(game: Array, option: int) -> float | None:
    """The largest least share of a mix against which the option is a best reply; None if there is none."""
    m, n = game.shape
    better = np.column_stack([game - game[option], np.zeros(m)])
    floor = np.column_stack([-np.eye(n), np.ones(n)])
    found = linprog(
        -np.eye(1, n + 1, n)[0], A_ub=np.vstack([better, floor]), b_ub=np.zeros(m + n),
        A_eq=np.append(np.ones(n), 0)[None], b_eq=[1],
    )  # fmt: skip
    return None if found.status == 2 else float(-found.fun)


@settings(max_examples=40, deadline=None)
@given(GAMES)
def test_domination_is_the_lack_of_a_mix_that_asks_for_the_option(game: Array) -> None:
    ways = {way.option: way for way in dominated(game)}
    for option in range(len(game)):
        share = best_reply_to(game, option)
        assert (option in ways) == (share is None or share < 1e-9)
        assert (option in ways and ways[option].strict) == (share is None)
    for way in ways.values():
        more = np.array(way.weights) @ game[list(way.by)] - game[way.option]
        assert way.option not in way.by
        assert sum(way.weights) == pytest.approx(1)
        assert (way.margin, way.most) == pytest.approx((more.min(), more.max()), abs=1e-9)


@settings(max_examples=25, deadline=None)
@given(GAMES)
def test_a_strictly_dominated_option_is_in_no_optimal_mix(game: Array) -> None:
    found = structure(game)
    for side in (found.rows, found.columns):
        assert all(side.uses[way.option].belongs == "never" for way in side.dominated if way.strict)


def test_domination_by_one_by_a_mix_and_weakly() -> None:
    by_one = dominated([[4, 1], [1, 4], [0.5, -2]])
    assert [(w.option, w.by, w.strict, w.margin, w.most) for w in by_one] == [(2, (0,), True, 3, 3.5)]
    (by_mix,) = dominated([[4, 0], [0, 4], [1, 1]])
    assert (by_mix.option, by_mix.by, by_mix.strict) == (2, (0, 1), True)
    assert by_mix.weights == pytest.approx((0.5, 0.5))
    assert by_mix.margin == pytest.approx(1)
    (weakly,) = dominated([[4, 0, 2], [4, 0, 5]])
    assert (weakly.option, weakly.by, weakly.strict, weakly.margin, weakly.most) == (0, (1,), False, 0, 3)
    (weakly_by_mix,) = dominated([[4, 0, 5], [0, 4, 5], [2, 2, 1]])
    assert (weakly_by_mix.by, weakly_by_mix.strict) == ((0, 1), False)
    assert (weakly_by_mix.margin, weakly_by_mix.most) == pytest.approx((0, 4))


def test_copies_and_single_options_are_not_dominated() -> None:
    assert dominated([[1, 2], [1, 2]]) == ()
    assert dominated([[1, 2]]) == ()


@pytest.mark.parametrize("scale", [1e-6, 1.0, 1e6])
def test_the_size_of_the_payoffs_does_not_matter(scale: float) -> None:
    found, plain = structure(np.array(MIXED) * scale), structure(MIXED)
    for side, same in ((found.rows, plain.rows), (found.columns, plain.columns)):
        assert [use.belongs for use in side.uses] == [use.belongs for use in same.uses]
        assert [way.by for way in side.dominated] == [way.by for way in same.dominated]
        losses = [use.most_loss / scale for use in side.uses]
        assert losses == pytest.approx([use.most_loss for use in same.uses], abs=1e-7)


def test_an_option_outside_the_mix_loses_against_every_or_only_some_best_mixes() -> None:
    always = structure(MIXED).rows.uses[1]
    assert (always.belongs, always.least_loss, always.most_loss) == ("never", pytest.approx(0.25), pytest.approx(0.25))
    at_times = structure(TIED).rows.uses[0]
    assert (at_times.belongs, at_times.least_loss, at_times.most_loss) == ("never", 0, pytest.approx(1))


def test_every_option_of_a_constant_game_may_be_mixed() -> None:
    assert [use.belongs for use in structure(np.zeros((2, 3))).columns.uses] == ["some"] * 3


def test_options_within_the_noise_are_alike() -> None:
    payoff = [[5], [4.7], [1], [4.4], [0.9]]
    assert structure(payoff, noise=0.5).rows.alike == (
        Alike(options=(0, 1), spread=pytest.approx(0.3)), Alike(options=(2, 4), spread=pytest.approx(0.1)),
    )  # fmt: skip
    assert structure(payoff, noise=0.6).rows.alike[0].options == (0, 1, 3)
    assert structure(payoff).rows.alike == ()


def test_an_equilibrium_at_hand_is_used() -> None:
    other = certify(np.array(TIED, dtype=float), np.array([0, 1, 0]), np.array([0.4, 0.6]))
    assert structure(TIED, found=other).equilibrium is other
    assert structure(TIED, found=other).columns.uses[0].most == pytest.approx(0.5)


def test_in_words() -> None:
    game = structure(MIXED, noise=0.5)
    assert in_words(game.rows, ["Throw", "Strike", "Wait"], noise=0.5) == (
        "Strike is in no best mix: it loses at least 0.25 against every best mix of the other side",
        "Throw, Strike and Wait earn the same within 0.5 against the best mix",
    )
    assert in_words(game.columns, ["Guard", "Jump", "Tech"], other="I")[0] == (
        "Jump never belongs in the mix: whatever I do, a mix of 41.7 % Guard and 58.3 % Tech earns at least 0.5 more"
    )
    tied = structure(TIED)
    assert in_words(tied.columns, ["Guard", "Jump"]) == (
        "the mix is not unique: Guard anywhere between 25 % and 50 %, Jump anywhere between 50 % and 75 %",
        "Guard and Jump earn the same against the best mix",
    )
    assert in_words(tied.rows, ["A", "B", "C"])[0] == (
        "A is in no best mix: it loses up to 1 against best mixes of the other side"
    )
    one = structure([[4, 1], [1, 4], [0.5, -2]])
    assert in_words(one.rows, ["A", "B", "C"])[0] == (
        "C never belongs in the mix: whatever they do, A earns at least 3 more"
    )
    weak = structure([[4, 0, 2], [4, 0, 5]])
    assert in_words(weak.rows, ["A", "B"])[0] == (
        "A is never needed: whatever they do, B earns at least as much, and up to 3 more"
    )


def test_what_cannot_be_told_is_refused() -> None:
    for noise in (-1, float("nan"), float("inf")):
        with pytest.raises(NotSolvable, match="the noise is"):
            structure(TIED, noise=noise)
    with pytest.raises(NotSolvable, match="dimension"):
        dominated([1, 2])
    with pytest.raises(NotSolvable, match=r"2 label\(s\) for 3 option\(s\)"):
        in_words(structure(TIED).rows, ["A", "B"])
    with pytest.raises(NotSolvable, match=r"no equilibrium of this game: a gap of 0\.8 is left"):
        structure([[1, 0], [0, 1]], found=solve([[1, 0], [0, 9]]))
    with pytest.raises(NotSolvable, match="of a game of 2 x 2 options"):
        structure(TIED, found=solve([[1, 0], [0, 9]]))


def test_an_empty_set_of_mixes_is_not_given_out() -> None:
    with pytest.raises(NotSolvable, match="could not be followed"):
        _Polytope(np.eye(2), 0.6).furthest(np.ones(2))


@pytest.mark.parametrize("lost", [["_onward"], ["_onward", "_afresh"], ["_onward", "_afresh", "_slackened"]])
def test_a_solver_that_lost_its_way_is_set_on_it_again(monkeypatch: pytest.MonkeyPatch, lost: list[str]) -> None:
    plain = structure(TIED)
    for name in lost:
        monkeypatch.setattr(_Polytope, name, lambda self: None)
    again = structure(TIED)
    for side, same in ((again.rows, plain.rows), (again.columns, plain.columns)):
        assert [use.most for use in side.uses] == pytest.approx([use.most for use in same.uses], abs=1e-7)
        assert [use.least_loss for use in side.uses] == pytest.approx([use.least_loss for use in same.uses], abs=1e-7)


@pytest.mark.parametrize("seed", range(5))
def test_options_of_very_different_sizes(seed: int) -> None:
    sizes = 10.0 ** np.array([-2, 1, 0, -1, 2, 1])
    found = structure(np.random.default_rng(seed).normal(size=(6, 6)) * sizes[:, None])
    for use, share in zip(found.rows.uses, found.equilibrium.rows, strict=True):
        assert use.least - 1e-6 <= share <= use.most + 1e-6
        assert use.most - use.least <= 1e-5


def test_a_small_spread_on_large_payoffs_is_read_at_its_own_size() -> None:
    unit = np.array([[1.0, 0.0], [0.0, 1.0]])
    shares = np.array([0.5, 0.5 + 1e-5])
    found = certify(unit * 1e-6, shares, shares)  # certified for such payoffs, loose for the game
    assert structure(unit * 1e-6, found=found).rows.unique


def test_uses_come_one_an_option_in_order() -> None:
    side: SideStructure = structure(np.random.default_rng(5).normal(size=(6, 4))).rows
    assert [use.option for use in side.uses] == list(range(6))
    assert all(isinstance(use, Use) and 0 <= use.least <= use.most <= 1 for use in side.uses)
