"""Many games at once: the same values and guarantees as one by one, whatever the shape or the scale."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from advisor.solver import batch
from advisor.solver.batch import _Tableaux, solve_many
from advisor.solver.matrix import NotSolvable, solve

Array = np.ndarray[Any, np.dtype[np.float64]]


def judge(games: Array, found: batch.Equilibria) -> None:
    """Mixes, bounds and values by sums of their own, and each value beside the single solver."""
    k, m, n = games.shape
    assert (found.rows.shape, found.columns.shape, found.values.shape) == ((k, m), (k, n), (k,))
    for mixes in (found.rows, found.columns):
        assert (mixes >= 0).all()
        assert mixes.sum(axis=1) == pytest.approx(np.ones(k), abs=1e-12)
    scale = np.maximum(1, np.abs(games).max(axis=(1, 2)))
    lower = np.einsum("ki,kij->kj", found.rows, games).min(axis=1)
    upper = np.einsum("kij,kj->ki", games, found.columns).max(axis=1)
    assert lower / scale == pytest.approx(found.lower / scale, abs=1e-13)
    assert upper / scale == pytest.approx(found.upper / scale, abs=1e-13)
    assert ((upper - lower) / scale <= 1e-9).all()
    assert found.values / scale == pytest.approx(np.array([solve(game).value for game in games]) / scale, abs=1e-9)


@pytest.mark.parametrize("shape", [(1, 1), (1, 6), (6, 1), (2, 2), (3, 9), (9, 3), (20, 12)])
def test_random_games_of_every_shape(shape: tuple[int, int]) -> None:
    games = np.random.default_rng(sum(shape)).normal(size=(60, *shape)) * 10
    judge(games, solve_many(games))


def degenerate() -> list[Array]:
    rng = np.random.default_rng(8)
    small = rng.integers(-1, 2, (200, 5, 6)).astype(float)
    return [
        small, np.repeat(small, 2, axis=1), np.repeat(small[:, :, :2], 3, axis=2), np.zeros((3, 4, 4)),
        small[:, :, :1] * rng.integers(-1, 2, (200, 1, 6)), np.tile(np.eye(7), (3, 1, 1)),
        np.concatenate([small[:4], np.full((2, 5, 6), 3.0), small[4:9] * 1e-6, small[9:14] * 1e6]),
    ]  # fmt: skip


@pytest.mark.parametrize("games", degenerate(), ids=lambda games: "x".join(map(str, games.shape)))
def test_degenerate_games(games: Array) -> None:
    judge(games, solve_many(games))


def test_the_pivots_alone_suffice_as_a_rule(monkeypatch: pytest.MonkeyPatch) -> None:
    """Otherwise the single solver would do the work, and the speed would be gone."""
    def refused(game: Array) -> None:
        raise AssertionError("handed on")

    monkeypatch.setattr(batch, "solve", refused)
    for games in (*degenerate(), np.random.default_rng(9).normal(size=(100, 20, 12))):
        solve_many(games)


def test_games_that_pivots_leave_loose_are_solved_one_by_one(monkeypatch: pytest.MonkeyPatch) -> None:
    games = np.random.default_rng(10).normal(size=(8, 5, 4))
    real = batch._Tableaux.mixes

    def spoiled(self: batch._Tableaux) -> tuple[Array, Array]:
        x, y = real(self)
        x[2], y[5], x[6] = np.nan, 0, np.arange(5)
        return x, y

    monkeypatch.setattr(batch._Tableaux, "mixes", spoiled)
    handed: list[float] = []
    monkeypatch.setattr(batch, "solve", lambda game: handed.append(float(game[0, 0])) or solve(game))
    judge(games, solve_many(games))
    assert handed == [games[at, 0, 0] for at in (2, 5, 6)]


def test_a_batch_in_several_parts_is_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    games = np.random.default_rng(11).normal(size=(25, 4, 5))
    whole = solve_many(games)
    monkeypatch.setattr(batch, "AT_ONCE", 6 * 5 * 6)
    parts = solve_many(games)
    assert (parts.rows == whole.rows).all()
    assert (parts.values == whole.values).all()


def test_no_games_have_no_answers() -> None:
    found = solve_many(np.zeros((0, 3, 4)))
    assert (found.rows.shape, found.columns.shape, found.gaps.shape) == ((0, 3), (0, 4), (0,))


@pytest.mark.parametrize(
    ("payoffs", "said"),
    [
        (np.zeros((2, 3)), "this array has 2"),
        (np.zeros((2, 0, 3)), "a game of 0 x 3 options"),
        ([[[1, 2]], [[1, 2], [3, 4]]], "not tables of one size"),
        ([[[1.0, 2.0]], [[1.0, float("nan")]]], "game 1, row 0, column 1 is `nan`"),
    ],
)
def test_what_is_no_batch_is_refused(payoffs: object, said: str) -> None:
    with pytest.raises(NotSolvable, match=said):
        solve_many(payoffs)


@settings(max_examples=60, deadline=None)
@given(
    st.tuples(st.integers(1, 4), st.integers(1, 5), st.integers(1, 5)).flatmap(
        lambda shape: arrays(np.float64, shape, elements=st.floats(-100, 100))
    )
)
def test_any_batch_agrees_with_single_games(games: Array) -> None:
    judge(games, solve_many(games))


def test_a_game_whose_numbers_are_lost_leaves_the_others_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """Pivots that run into NaN end that game only; its certificate fails, and it is solved by itself."""
    games = np.random.default_rng(5).normal(size=(6, 4, 5))
    first = _Tableaux._pivot

    def spoil(self: _Tableaux, i: object, j: object) -> None:
        first(self, i, j)  # type: ignore[arg-type]
        self.table[self.game == 2] = np.nan

    monkeypatch.setattr(_Tableaux, "_pivot", spoil)
    found = solve_many(games)
    for game, value, gap in zip(games, found.values, found.gaps, strict=True):
        assert value == pytest.approx(solve(game).value, abs=1e-9) and gap < 1e-8
