"""Brackets of stochastic games, beside published values and beside the stop on small steps that fails on them."""

from __future__ import annotations

import math

import numpy as np
import pytest

from advisor.errors import DataError
from advisor.solver.guarantee import best_reply_value
from advisor.solver.matrix import solve
from advisor.solver.stochastic import (
    Bracket,
    Budget,
    DiscountedGame,
    RecursiveGame,
    solve_discounted,
    solve_recursive,
)


def everett() -> RecursiveGame:
    """[[G, 1], [1, 0]]: I win by being one step ahead; no mix of mine is the best."""
    return RecursiveGame(wins=[[[0, 1], [1, 0]]], moves=[[[[1], [0]], [[0], [0]]]])


def purgatory(n: int) -> RecursiveGame:
    """States 0..n-1, each [[up, back to 0], [lost, up]]; up from the last is won."""
    wins, moves = [], []
    for k in range(n):
        win, move = np.zeros((2, 2)), np.zeros((2, 2, n))
        for i, j, to in ((0, 0, k + 1), (0, 1, 0), (1, 1, k + 1)):
            if to == n:
                win[i, j] = 1
            else:
                move[i, j, to] = 1
        wins.append(win)
        moves.append(move)
    return RecursiveGame(wins=wins, moves=moves)


def small_steps(game: RecursiveGame, step: float = 1e-6) -> float:
    """The chance in state 0 where iteration from 0 is stopped on a small step (2 x 2 games, by the formula)."""
    wins, moves = np.asarray(game.wins), np.asarray(game.moves)
    values = np.zeros(len(wins))
    while True:
        after = np.array([two_by_two(w + m @ values) for w, m in zip(wins, moves, strict=True)])
        if np.abs(after - values).max() < step:
            return float(after[0])
        values = after


def two_by_two(cells: np.ndarray) -> float:
    (a, b), (c, d) = cells.tolist()
    low, high = max(min(a, b), min(c, d)), min(max(a, c), max(b, d))
    return low if low >= high else (a * d - b * c) / (a + d - b - c)


# Source: Everett 1957 (Ferguson's notes II, section 6.3) and Purgatory of Hansen, Koucky and Miltersen 2009;
# values of the stop on small steps recomputed; citations from memory
@pytest.mark.parametrize(
    ("game", "stops_at"),
    [(everett(), 0.999), (purgatory(2), 0.968), (purgatory(3), 0.818), (purgatory(4), 0.563)],
    ids=["everett", "purgatory 2", "purgatory 3", "purgatory 4"],
)
def test_a_small_step_is_no_answer(game: RecursiveGame, stops_at: float) -> None:
    """The true value is 1 in every state; stopping on a small step is far below it, the bracket never is."""
    assert small_steps(game) == pytest.approx(stops_at, abs=6e-4)
    for tolerance in (1e-2, 1e-6):
        found = solve_recursive(game, tolerance=tolerance, budget=Budget(iterations=70))
        assert (found.upper >= 1).all()
        assert (found.lower <= 1).all()
        assert found.closed == bool((found.upper - found.lower <= tolerance).all())
        assert found.closed or found.stopped
    assert found.lower[0] > stops_at + 9e-4


def test_the_recursive_game_closes() -> None:
    """The mixes come ever nearer to never playing the second row: the bracket closes on 1 where iteration crawls."""
    found = solve_recursive(everett(), tolerance=1e-6)
    assert found.closed
    assert found.lower[0] >= 1 - 1e-6
    assert 0 < found.mine[0][1] < 1e-5


# Source: Ferguson, Game Theory, UCLA notes, Part II, section 6.4; value recomputed; citation from memory
def test_a_discounted_state() -> None:
    game = DiscountedGame(rewards=[[[1, 3], [1, 2]]], moves=[[[[3 / 5], [1 / 5]], [[4 / 5], [2 / 5]]]])
    found = solve_discounted(game, tolerance=1e-10)
    assert found.closed
    assert found.lower[0] - 1e-12 <= 5 * math.sqrt(2) / 2 <= found.upper[0] + 1e-12
    assert found.mine[0] == pytest.approx([math.sqrt(2) - 1, 2 - math.sqrt(2)], abs=1e-8)
    assert found.theirs[0] == pytest.approx([1 - 1 / math.sqrt(2), 1 / math.sqrt(2)], abs=1e-8)


# Source: Ferguson, Game Theory, UCLA notes, Part II, section 6.4; value recomputed; citation from memory
def test_two_discounted_states() -> None:
    first, second = np.zeros((2, 2, 2)), np.zeros((2, 2, 2))
    first[0, 0, 0], first[0, 1, 1], first[1, 0, 1], first[1, 1, 0] = 0.3, 0.4, 0.4, 0.5
    second[0, 0, 0], second[1, 1, 1] = 0.5, 0.5
    game = DiscountedGame(rewards=[[[4, 0], [1, 3]], [[0, -5], [-4, 1]]], moves=[first, second])
    found = solve_discounted(game, tolerance=1e-9)
    assert found.closed
    assert found.lower == pytest.approx([2.02254699, -1.99734958], abs=1e-8)
    assert [m[0] for m in found.mine] == pytest.approx([0.413438, 0.399629], abs=1e-6)
    assert [m[0] for m in found.theirs] == pytest.approx([0.521946, 0.499503], abs=1e-6)


# Source: Gillette 1957; Blackwell and Ferguson 1968 (the Big Match), discounted; value recomputed; citation from memory
@pytest.mark.parametrize("weight", [0.5, 0.1, 0.01, 0.001])
def test_the_big_match(weight: float) -> None:
    moves = np.zeros((2, 2, 1))
    moves[1] = 1 - weight
    found = solve_discounted(
        DiscountedGame(rewards=[[[1, 0], [0, weight]]], moves=[moves]), tolerance=1e-8
    )
    assert found.closed
    assert found.lower[0] == pytest.approx(0.5, abs=1e-8)
    assert found.mine[0][0] == pytest.approx(weight / (1 + weight), abs=1e-7)
    assert found.theirs[0] == pytest.approx([0.5, 0.5], abs=1e-7)


# Source: Feller, An Introduction to Probability Theory I, chapter XIV.2, table; citation from memory
@pytest.mark.parametrize(
    ("p", "have", "goal", "ruin", "digits"),
    [(0.5, 9, 10, 0.1, 3), (0.45, 9, 10, 0.210, 3), (0.45, 90, 100, 0.866, 3), (0.45, 99, 100, 0.182, 3),
     (0.4, 90, 100, 0.983, 3), (0.4, 99, 100, 0.333, 3)],
)
def test_gamblers_ruin(p: float, have: int, goal: int, ruin: float, digits: int) -> None:
    """One option each: no guess, only chance, and long play."""
    count = goal - 1
    wins, moves = np.zeros((count, 1, 1)), np.zeros((count, 1, 1, count))
    for at in range(count):
        if at + 1 < count:
            moves[at, 0, 0, at + 1] = p
        else:
            wins[at] = p
        if at:
            moves[at, 0, 0, at - 1] = 1 - p
    found = solve_recursive(RecursiveGame(wins=list(wins), moves=list(moves)), tolerance=1e-8)
    assert found.closed
    assert 1 - found.lower[have - 1] == pytest.approx(ruin, abs=0.5 * 10**-digits + 1e-8)
    q = (1 - p) / p
    exact = have / goal if p == 0.5 else (q**have - 1) / (q**goal - 1)
    assert found.lower[have - 1] <= exact + 1e-12
    assert exact <= found.upper[have - 1] + 1e-12


def test_endless_play_leaves_the_bracket_open() -> None:
    """If both may wait for ever and neither should move first, the ends differ, and say so."""
    found = solve_recursive(RecursiveGame(wins=[[[0, 1], [0, 0.5]]], moves=[[[[1], [0]], [[0], [0]]]]))
    assert (found.lower[0], found.upper[0]) == pytest.approx((0, 1), abs=1e-9)
    assert not found.closed
    assert found.stopped == "no gain"


def test_endless_play_elsewhere_costs_no_certainty() -> None:
    """Half won, half into a state that never ends: exactly half is sure, and the other half is open."""
    game = RecursiveGame(
        wins=[[[0.5]], [[0.0, 0.0]]], moves=[[[[0.0, 0.5]]], [[[0.0, 1.0], [1.0, 0.0]]]]
    )
    found = solve_recursive(game)
    assert found.lower == pytest.approx([0.5, 0.0], abs=1e-12)
    assert found.upper == pytest.approx([1.0, 1.0], abs=1e-12)


def test_chances_written_short_are_no_chance_to_lose() -> None:
    """Three written thirds leave a rest of 1e-10; if it were a loss, waiting would lose for certain."""
    third = 0.3333333333
    found = solve_recursive(RecursiveGame(wins=[[[0.0]]] * 3, moves=[[[[third] * 3]]] * 3))
    assert found.lower == pytest.approx(np.zeros(3))
    assert found.upper == pytest.approx(np.ones(3))


@pytest.mark.parametrize("seed", range(6))
def test_brackets_hold_iteration_from_both_ends(seed: int) -> None:
    """Common practice, no published source: plain iteration from 0 stays below ``upper``, from 1 above ``lower``."""
    rng = np.random.default_rng(seed)
    wins, moves = [], []
    for _ in range(3):
        m, n = rng.integers(1, 4, 2)
        shares = rng.dirichlet(np.full(5, 0.3), (m, n))
        wins.append(shares[..., 0])
        moves.append(shares[..., 1:4])
    game = RecursiveGame(wins=wins, moves=moves)
    found = solve_recursive(game, tolerance=1e-7)
    below, above = np.zeros(3), np.ones(3)
    for _ in range(80):
        below = np.array([solve(w + g @ below).lower for w, g in zip(wins, moves, strict=True)])
        above = np.array([solve(w + g @ above).upper for w, g in zip(wins, moves, strict=True)])
    assert (below <= found.upper + 1e-8).all()
    assert (above >= found.lower - 1e-8).all()
    assert found.closed
    assert [len(mix) for mix in found.mine] == [len(w) for w in wins]
    for s, (win, go) in enumerate(zip(wins, moves, strict=True)):
        assert (found.mine[s] @ (win + go @ found.lower)).min() >= found.lower[s] - 1e-6


@pytest.mark.parametrize("seed", range(4))
def test_the_other_side_is_the_same_game(seed: int) -> None:
    rng = np.random.default_rng(100 + seed)
    shares = rng.dirichlet(np.full(5, 0.4), (3, 3, 2))
    wins, moves, losses = shares[..., 0], shares[..., 1:4], shares[..., 4]
    mine = solve_recursive(RecursiveGame(wins=list(wins), moves=list(moves)))
    theirs = solve_recursive(
        RecursiveGame(wins=list(losses.swapaxes(1, 2)), moves=list(moves.swapaxes(1, 2)))
    )
    assert mine.closed and theirs.closed
    assert mine.lower + theirs.upper == pytest.approx(np.ones(3), abs=4e-6)


def test_a_fixed_mix_gets_what_the_best_reply_leaves() -> None:
    """Two columns: one ends at 0.3, the other goes on; whoever may go on for ever pays nothing."""
    rewards = np.array([[[[0.3, 0.0]]]])
    moves = np.array([[[[0.0], [1.0]]]])
    mix, both, first = np.ones((1, 1, 1)), np.ones((1, 2), dtype=bool), np.array([[True, False]])
    assert best_reply_value(rewards, moves, mix, both, signed=False)[0, 0] == 0
    alone = best_reply_value(rewards, moves, mix, first, signed=False)[0, 0]
    assert 0.3 - 1e-12 < alone < 0.3


def test_a_state_that_never_ends_does_not_blur_the_others() -> None:
    """Half won, half into waiting for ever: the guarantee is half to the last digits, not what rounding leaves."""
    rewards = np.array([[[[0.5]], [[0.0]]]])
    moves = np.array([[[[0.0, 0.5]]], [[[0.0, 1.0]]]])
    found = best_reply_value(rewards, moves, np.ones((1, 2, 1)), np.ones((2, 1), dtype=bool), signed=False)
    assert found[0] == pytest.approx([0.5, 0.0], abs=1e-12)


def _stopped(**budget: object) -> Bracket:
    return solve_recursive(purgatory(3), tolerance=1e-9, budget=Budget(**budget))


def test_a_budget_that_is_out_gives_the_honest_bracket() -> None:
    assert _stopped(iterations=3).stopped == "iterations"
    assert _stopped(seconds=0.0).stopped == "time"
    found = _stopped(cancelled=lambda: True)
    assert (found.stopped, found.closed, found.iterations) == ("cancelled", False, 0)
    assert (found.lower[0], found.upper[0]) == (0, 1)
    more = _stopped(iterations=30)
    assert more.lower[0] > _stopped(iterations=3).lower[0]


@pytest.mark.parametrize(
    ("wins", "moves", "path", "wrong"),
    [
        ([[[0.5, 1.2]]], [[[[0.0], [0.0]]]], "states[0][0][1]", "more than 1"),
        ([[[-0.5]]], [[[[0.0]]]], "states[0][0][0]", "negative"),
        ([[[0.5]]], [[[0.0]]], "moves[0]", "shape"),
        ([[[float("nan")]]], [[[[0.0]]]], "states[0]", "not finite"),
        ([], [], "states", "without states"),
    ],
)
def test_games_that_mean_nothing_are_refused(wins: list, moves: list, path: str, wrong: str) -> None:
    with pytest.raises(DataError) as caught:
        solve_recursive(RecursiveGame(wins=wins, moves=moves))
    assert (caught.value.findings[0].path, wrong in caught.value.findings[0].message) == (path, True)


def test_rewards_without_an_end_are_refused() -> None:
    with pytest.raises(DataError, match="1 or more"):
        solve_discounted(DiscountedGame(rewards=[[[1.0]]], moves=[[[[1.0]]]]))
