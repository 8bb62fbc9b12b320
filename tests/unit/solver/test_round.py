"""The round: races with known chances, a slow solution written apart, symmetry, order in health, callbacks."""

from __future__ import annotations

from fractions import Fraction
from functools import cache
from math import comb

import numpy as np
import pytest
from round_samples import drawn, duel, race, situation, slow_values

from advisor.bench.rounds import grown_round
from advisor.errors import QuestionError
from advisor.solver.round import Cancelled, RoundSolution, round_mix, solve_round
from advisor.solver.round_model import Comeback, RoundModel


@cache
def solved_duel() -> RoundSolution:
    return solve_round(duel(9))


# Races: value recomputed; common practice, no published source
@pytest.mark.parametrize(
    ("p", "first_to", "chance"),
    [(0.6, 2, 0.648), (0.6, 3, 0.68256), (0.55, 2, 0.57475), (0.55, 3, 0.593126875)],
)
def test_races(p: float, first_to: int, chance: float) -> None:
    found = solve_round(race(p, first_to, first_to))
    lower, upper = found.bounds("play", first_to, first_to)
    assert found.closed
    assert lower <= chance + 1e-12 and chance <= upper + 1e-12
    assert upper - lower < 1e-9


@pytest.mark.parametrize(("mine", "theirs"), [(1, 1), (3, 7), (12, 5), (20, 20)])
def test_races_of_unequal_healths(mine: int, theirs: int) -> None:
    """I win iff I score ``theirs`` times before they score ``mine`` times (Pascal's problem of points)."""
    p = Fraction(3, 5)
    exact = sum(
        comb(theirs - 1 + lost, lost) * p**theirs * (1 - p) ** lost for lost in range(mine)
    )
    lower, upper = solve_round(race(0.6, mine, theirs)).bounds("play", mine, theirs)
    assert lower == pytest.approx(float(exact), abs=1e-9)
    assert upper == pytest.approx(float(exact), abs=1e-9)


# Race to be two ahead after three all: value recomputed; common practice, no published source
@pytest.mark.parametrize(("p", "chance"), [(0.6, 0.7357292), (0.55, 0.6231485)])
def test_first_to_four_by_two(p: float, chance: float) -> None:
    """The tie-break is states without damage: even, one ahead, one behind; a last point ends it."""
    even = [[(p, 0.0, 0.0, "ahead"), (1 - p, 0.0, 0.0, "behind")]]
    model = RoundModel(
        situations=(
            situation("even", [even]),
            situation("ahead", [[[(p, 9.0, 0.0, "even"), (1 - p, 0.0, 0.0, "even")]]]),
            situation("behind", [[[(p, 0.0, 0.0, "even"), (1 - p, 0.0, 9.0, "even")]]]),
        ),
        my_steps=1, their_steps=1,
    )
    lower, upper = solve_round(model, tolerance=1e-9).bounds("even", 1, 1)
    deuce = 0.5 * (lower + upper)
    game = sum(comb(3 + lost, lost) * p**4 * (1 - p) ** lost for lost in range(3)) + 20 * (p * (1 - p)) ** 3 * deuce
    assert upper - lower < 1e-9
    assert game == pytest.approx(chance, abs=6e-8)


@pytest.mark.parametrize("seed", range(2))
def test_against_a_slow_solution(seed: int) -> None:
    model = drawn(seed, (3, 4), comeback=Comeback(below=0.5, times=1.5) if seed else None)
    found = solve_round(model, tolerance=1e-6)
    assert found.closed
    for (name, mine, theirs), value in slow_values(model).items():
        lower, upper = found.bounds(name, mine, theirs)
        assert lower - 2e-6 <= value <= upper + 2e-6, (name, mine, theirs)


def test_alike_for_both_sides() -> None:
    """Equal healths are worth half in the even situation, and swapping sides turns every chance round."""
    for found in (solved_duel(), solve_round(grown_round(8))):
        assert found.closed
        half = np.arange(1, found.model.my_steps + 1)
        assert (found.lower[0, half, half] <= 0.5 + 1e-12).all()
        assert (found.upper[0, half, half] >= 0.5 - 1e-12).all()
        assert found.lower[0] + found.upper[0].T == pytest.approx(1.0, abs=2 * found.tolerance)
    names = [s.name for s in solved_duel().model.situations]
    theirs, mine = names.index("they_lie"), names.index("i_lie")
    assert solved_duel().lower[theirs] + solved_duel().upper[mine].T == pytest.approx(1.0, abs=2e-4)


def test_health_is_never_a_burden_without_a_comeback_rule() -> None:
    found = solved_duel()
    slack = found.widest + 1e-12
    assert (np.diff(found.lower[:, 1:, 1:], axis=1) >= -slack).all()
    assert (np.diff(found.lower[:, 1:, 1:], axis=2) <= slack).all()
    assert found.lower[0, 9, 1] > found.lower[0, 1, 1] + 0.2


def test_the_bracket_is_a_bracket() -> None:
    found = solved_duel()
    assert (found.lower <= found.upper).all()
    assert (found.lower >= 0).all() and (found.upper <= 1).all()
    assert found.widest == (found.upper - found.lower).max() <= found.tolerance
    assert found.open_states == 0
    assert (found.lower[:, 1:, 0] == 1).all() and (found.upper[:, 0, 1:] == 0).all()
    assert (found.lower[:, 0, 0] == 0.5).all()


def test_mixes_hold_the_value() -> None:
    """My mix, put against each of their options by hand, gets the lower bound; theirs concedes the upper."""
    found = solved_duel()
    model = found.model
    names = [s.name for s in model.situations]
    for state in (("stand", 4, 4), ("they_lie", 2, 9), ("i_lie", 9, 1)):
        name, mine, theirs = state
        mix = round_mix(found, *state)
        here = model.situations[names.index(name)]
        cells = np.array([
            [
                sum(
                    b.chance * (found.lower + found.upper)[
                        names.index(b.next), max(mine - round(b.taken / 10), 0), max(theirs - round(b.dealt / 10), 0)
                    ] / 2
                    for b in cell
                )
                for cell in row
            ]
            for row in here.cells
        ])
        assert mix.closed
        assert list(mix.mine) == list(here.mine) and list(mix.theirs) == list(here.theirs)
        assert sum(mix.mine.values()) == pytest.approx(1)
        assert (np.array(list(mix.mine.values())) @ cells).min() >= mix.lower - 1e-4
        assert (cells @ np.array(list(mix.theirs.values()))).max() <= mix.upper + 1e-4
        assert (mix.lower, mix.upper) == found.bounds(*state)


def test_endless_play_is_said_to_be_open() -> None:
    """Whoever moves first loses: both wait, and the answer keeps the bracket open at every health."""
    stay, hurt, hit = [(1.0, 0.0, 0.0, "wait")], [(1.0, 0.0, 5.0, "wait")], [(1.0, 5.0, 0.0, "wait")]
    model = RoundModel(
        situations=(situation("wait", [[stay, hit], [hurt, [(0.5, 5.0, 0.0, "wait"), (0.5, 0.0, 5.0, "wait")]]]),),
        my_steps=2, their_steps=2,
    )
    found = solve_round(model)
    assert not found.closed
    assert found.open_states == 4
    assert found.bounds("wait", 1, 1) == pytest.approx((0, 1), abs=1e-9)


def test_an_open_layer_does_not_leak_certainty() -> None:
    """A hit that leads into an open state carries its whole bracket, and no more."""
    stay = [(1.0, 0.0, 0.0, "wait")]
    model = RoundModel(
        situations=(
            situation("wait", [[stay]]), situation("hit", [[[(0.5, 1.0, 0.0, "wait"), (0.5, 9.0, 0.0, "hit")]]]),
        ),
        my_steps=1, their_steps=2,
    )
    assert solve_round(model).bounds("hit", 1, 2) == pytest.approx((0.5, 1.0), abs=1e-9)


def test_progress_and_cancel() -> None:
    seen: list[tuple[int, int]] = []
    solve_round(race(0.6, 3, 4), progress=lambda done, total: seen.append((done, total)))
    assert seen == [(done, 6) for done in range(7)]
    with pytest.raises(Cancelled, match="2 of 6"):
        solve_round(race(0.6, 3, 4), progress=lambda d, t: seen.append((d, t)), cancelled=lambda: seen[-1][0] == 1)


@pytest.mark.parametrize(
    ("state", "pointer", "words"),
    [
        (("stnd", 1, 1), "/situation", "did you mean `stand`?"),
        (("stand", 0, 1), "/my_health", "1 to 9"),
        (("stand", 1, 10), "/their_health", "1 to 9"),
    ],
)
def test_states_that_do_not_exist(state: tuple[str, int, int], pointer: str, words: str) -> None:
    for ask in (solved_duel().bounds, lambda *s: round_mix(solved_duel(), *s)):
        with pytest.raises(QuestionError) as caught:
            ask(*state)
        assert (caught.value.pointer, caught.value.help) == (pointer, words)
