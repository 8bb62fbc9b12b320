"""One game: its certificate, beside two other libraries' solvers, under the laws of matrix games, at odd scales."""

from __future__ import annotations

import subprocess
import sys
import threading
import warnings
from typing import Any

import nashpy
import numpy as np
import pygambit
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from advisor.errors import AdvisorError
from advisor.solver import matrix
from advisor.solver.matrix import Equilibrium, NotSolvable, certify, solve, solve_exactly

Array = np.ndarray[Any, np.dtype[np.float64]]

RNG_SEED = 20


def random_games() -> list[Array]:
    """Ordinary and degenerate ones: copies, constants, one row, one column, rank one, small whole numbers."""
    rng = np.random.default_rng(RNG_SEED)
    games = [rng.normal(size=rng.integers(2, 9, 2)) * 10 for _ in range(25)]
    games += [rng.integers(-2, 3, rng.integers(2, 7, 2)).astype(float) for _ in range(25)]
    games += [np.repeat(rng.normal(size=(3, 4)), 2, axis=axis) for axis in (0, 1)]
    games += [np.full((3, 4), 7.5), np.zeros((2, 2)), rng.normal(size=(1, 5)), rng.normal(size=(5, 1))]
    games += [np.outer(rng.normal(size=4), rng.normal(size=5)) for _ in range(4)]
    return games


GAMES = random_games()


def worst_cases(game: Array, found: Equilibrium) -> tuple[float, float]:
    """What each mix guarantees, added up here once more."""
    m, n = game.shape
    lower = min(sum(found.rows[i] * game[i, j] for i in range(m)) for j in range(n))
    upper = max(sum(found.columns[j] * game[i, j] for j in range(n)) for i in range(m))
    return float(lower), float(upper)


def nashpy_value(game: Array) -> float:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        x, y = nashpy.Game(game).linear_program()
    return float(np.array(x) @ game @ np.array(y))


def gambit_value(game: Array) -> float:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        there = pygambit.StrategicGame.from_arrays(game, -game)
        profile = pygambit.nash.lp_solve(there, rational=False).equilibrium
    return float(profile.payoffs[next(iter(there.players))])


@pytest.mark.parametrize("game", GAMES, ids=lambda game: f"{game.shape[0]}x{game.shape[1]}")
def test_value_and_mixes_beside_two_other_solvers(game: Array) -> None:
    found = solve(game)
    assert found.value == pytest.approx(nashpy_value(game), abs=1e-8)
    assert found.value == pytest.approx(gambit_value(game), abs=1e-8)
    assert found.value == pytest.approx(solve_exactly(game).value, abs=1e-10)
    lower, upper = worst_cases(game, found)
    assert upper - lower <= 1e-8
    assert (lower, upper) == pytest.approx((found.lower, found.upper), abs=1e-12)
    for mix in (found.rows, found.columns):
        assert min(mix) >= 0
        assert sum(mix) == pytest.approx(1, abs=1e-12)


def test_losses_are_told_for_every_option() -> None:
    found = solve([[3, 0, 5], [0, 3, 5], [1, 1, 1]])
    assert found.rows == pytest.approx((0.5, 0.5, 0))
    assert found.row_losses == pytest.approx((0, 0, 0.5))
    assert found.column_losses == pytest.approx((0, 0, 3.5))
    assert (found.value, found.gap) == pytest.approx((1.5, 0))


def test_a_poor_pair_of_mixes_is_certified_as_poor() -> None:
    found = certify(np.array([[2.0, 0.0], [0.0, 2.0]]), np.array([3.0, 1.0]), np.array([1.0, -1e-17]))
    assert (found.rows, found.columns) == ((0.75, 0.25), (1, 0))
    assert (found.lower, found.upper, found.value, found.gap) == (0.5, 2, 1.25, 1.5)


@pytest.mark.parametrize("scale", [1e-300, 1e-9, 1e-6, 1e6, 1e12, 1e300, 1.7e308])
def test_the_size_of_the_payoffs_does_not_matter(scale: float) -> None:
    unit = np.random.default_rng(3).uniform(-1, 1, (6, 5))
    found = solve(unit * scale)
    assert found.value / scale == pytest.approx(solve(unit).value, abs=1e-9)
    assert found.gap / scale <= 1e-9


def test_a_small_spread_on_a_large_payoff() -> None:
    unit = np.random.default_rng(4).uniform(-1, 1, (5, 5))
    assert solve(unit + 1e6).value - 1e6 == pytest.approx(solve(unit).value, abs=1e-8)


def test_one_call_of_the_program_is_enough_as_a_rule(monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(*_: object) -> None:
        raise AssertionError("solved anew")

    monkeypatch.setattr(matrix, "_on_support", refused)
    monkeypatch.setattr(matrix, "_fractions", refused)
    for game in GAMES:
        solve(game)


def test_a_loose_answer_is_solved_anew_on_its_support(monkeypatch: pytest.MonkeyPatch) -> None:
    game = GAMES[0]
    good = solve(game)
    x, y = np.array(good.rows), np.array(good.columns)
    loose = x * (1 + 1e-4 * np.arange(len(x))), y * (1 - 1e-4 * np.arange(len(y)))
    assert certify(game, *loose).gap > 1e-6
    monkeypatch.setattr(matrix, "_programme", lambda scaled: loose)
    monkeypatch.setattr(matrix, "_fractions", lambda game: (np.ones(len(x)), np.ones(len(y))))
    assert solve(game).gap <= 1e-9
    assert solve(game).value == pytest.approx(good.value, abs=1e-10)


def test_a_wrong_answer_is_solved_in_fractions(monkeypatch: pytest.MonkeyPatch) -> None:
    good = [solve(game).value for game in GAMES]
    monkeypatch.setattr(matrix, "_programme", lambda scaled: (np.eye(len(scaled))[0], np.eye(scaled.shape[1])[0]))
    assert [solve(game).value for game in GAMES] == pytest.approx(good, abs=1e-9)


def test_an_answer_without_its_certificate_is_never_given_out(monkeypatch: pytest.MonkeyPatch) -> None:
    first = np.eye(3)[0]
    for name in ("_programme", "_fractions"):
        monkeypatch.setattr(matrix, name, lambda game: (first, first))
    with pytest.raises(NotSolvable, match="a gap of 2 is left, 1e-09 is allowed"):
        solve([[0, 1, -1], [-1, 0, 1], [1, -1, 0]])


@pytest.mark.parametrize(
    ("payoff", "said"),
    [
        ([], "this array has 1 dimension"),
        (np.zeros((0, 3)), "a game of 0 x 3 options"),
        ([[]], "a game of 1 x 0 options"),
        (np.zeros((2, 2, 2)), "3 dimension"),
        ([[1, 2], [3]], "not a table of numbers"),
        ([["a", "b"]], "not a table of numbers"),
        ([[1, 2], [3, float("nan")]], "row 1, column 1 is `nan`"),
        ([[1, float("-inf")]], "row 0, column 1 is `-inf`"),
    ],
)
def test_what_is_no_game_is_refused_by_name(payoff: object, said: str) -> None:
    for solver in (solve, solve_exactly):
        with pytest.raises(NotSolvable, match=said) as caught:
            solver(payoff)
        assert isinstance(caught.value, AdvisorError)
        assert isinstance(caught.value, ValueError)


def test_threads_do_not_disturb_each_other() -> None:
    expected = [solve(game).value for game in GAMES]
    got: dict[int, list[float]] = {}

    def work(number: int) -> None:
        got[number] = [solve(game).value for game in GAMES]

    threads = [threading.Thread(target=work, args=(n,)) for n in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert list(got.values()) == [expected] * 4


def test_the_solver_prints_nothing() -> None:
    code = "from advisor.solver.matrix import solve; solve([[1, 0], [0, 1]])"
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert (ran.stdout, ran.stderr) == ("", "")


# --- laws ------------------------------------------------------------------------------------

WHOLE = st.integers(-6, 6).map(float)
MATRICES = st.tuples(st.integers(1, 5), st.integers(1, 5)).flatmap(
    lambda shape: arrays(np.float64, shape, elements=WHOLE)
)
LAWS = settings(max_examples=60, deadline=None)


@LAWS
@given(MATRICES, st.floats(-1e3, 1e3), st.floats(1e-3, 1e3))
def test_shifting_and_scaling_move_the_value_alike(game: Array, shift: float, scale: float) -> None:
    assert solve(game * scale + shift).value == pytest.approx(solve(game).value * scale + shift, rel=1e-9, abs=1e-7)


@LAWS
@given(MATRICES)
def test_the_other_seat_sees_the_value_negated(game: Array) -> None:
    assert solve(-game.T).value == pytest.approx(-solve(game).value, abs=1e-9)


@LAWS
@given(MATRICES, st.randoms(use_true_random=False))
def test_the_order_of_options_is_nothing(game: Array, random: Any) -> None:
    rows, columns = list(range(game.shape[0])), list(range(game.shape[1]))
    random.shuffle(rows)
    random.shuffle(columns)
    found = solve(game[np.ix_(rows, columns)])
    back = np.empty(len(rows)), np.empty(len(columns))
    back[0][rows], back[1][columns] = found.rows, found.columns
    assert found.value == pytest.approx(solve(game).value, abs=1e-9)
    assert certify(game, *back).gap <= 1e-8


@LAWS
@given(MATRICES, st.floats(0.1, 5), st.data())
def test_a_dominated_row_changes_nothing(game: Array, less: float, data: st.DataObject) -> None:
    worse = game[data.draw(st.integers(0, len(game) - 1))] - less
    found = solve(np.vstack([game, worse]))
    assert found.value == pytest.approx(solve(game).value, abs=1e-9)
    assert found.rows[-1] == pytest.approx(0, abs=1e-8)
    assert found.row_losses[-1] >= less - 1e-8


@LAWS
@given(MATRICES)
def test_the_value_lies_between_the_pure_guarantees(game: Array) -> None:
    found = solve(game)
    assert game.min(axis=1).max() - 1e-9 <= found.value <= game.max(axis=0).min() + 1e-9
    assert found.lower <= found.value <= found.upper or found.gap == 0
