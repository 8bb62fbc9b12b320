"""The clock of a round: time may run out after every exchange, and whoever has the larger share wins then."""

from __future__ import annotations

import msgspec
import pytest
from round_samples import drawn, race, situation, slow_values

from advisor.errors import DataError
from advisor.solver.round import solve_round
from advisor.solver.round_model import RoundModel


def waiting(mine: int, theirs: int, timeout: float, draw: float = 0.5) -> RoundModel:
    """Nobody ever does anything."""
    return RoundModel(
        situations=(situation("wait", [[[(1.0, 0.0, 0.0, "wait")]]]),), my_steps=mine, their_steps=theirs,
        timeout=timeout, draw=draw,
    )


def test_without_a_clock_waiting_for_ever_is_open() -> None:
    found = solve_round(waiting(3, 3, 0.0))
    assert not found.closed and found.bounds("wait", 2, 1) == (0.0, 1.0)


@pytest.mark.parametrize("timeout", [0.01, 0.3, 0.9])
def test_with_a_clock_the_larger_share_wins(timeout: float) -> None:
    found = solve_round(waiting(4, 2, timeout, draw=0.25))
    assert found.closed
    for mine, theirs, worth in [(4, 2, 0.25), (2, 1, 0.25), (3, 1, 1.0), (1, 1, 0.0), (3, 2, 0.0)]:
        lower, upper = found.bounds("wait", mine, theirs)
        assert lower <= worth + 1e-9 and upper >= worth - 1e-9 and upper - lower < 1e-4


@pytest.mark.parametrize("timeout", [0.0, 0.1, 0.5])
def test_a_race_against_the_clock(timeout: float) -> None:
    """One step each: an exchange ends it with 3/5, else with chance 1 - timeout all begins anew (geometric series)."""
    cell = [(0.4, 1.0, 0.0, "play"), (0.2, 0.0, 1.0, "play"), (0.4, 0.0, 0.0, "play")]
    model = RoundModel(
        situations=(situation("play", [[cell]]),), my_steps=1, their_steps=1, timeout=timeout
    )
    exact = (0.4 + 0.4 * timeout * 0.5) / (1 - 0.4 * (1 - timeout))
    lower, upper = solve_round(model).bounds("play", 1, 1)
    assert lower == pytest.approx(exact, abs=1e-6) and upper == pytest.approx(exact, abs=1e-6)


def test_a_clock_by_the_dumb_solution() -> None:
    """The same as a slow iteration of the model with the clock written into every state."""
    model = msgspec.structs.replace(drawn(7, (4, 3)), timeout=0.2)
    found = solve_round(model)
    slow = slow_values(model)
    assert found.closed
    for (name, mine, theirs), value in slow.items():
        lower, upper = found.bounds(name, mine, theirs)
        assert lower <= value + 1e-6 and upper >= value - 1e-6


def test_the_clock_changes_a_race_that_only_damage_ends() -> None:
    fast, slow = (solve_round(msgspec.structs.replace(race(0.4, 5, 5), timeout=q)) for q in (0.5, 0.0))
    assert fast.bounds("play", 5, 1)[0] != pytest.approx(slow.bounds("play", 5, 1)[0], abs=1e-3)
    assert fast.bounds("play", 5, 1)[0] > slow.bounds("play", 5, 1)[1]


@pytest.mark.parametrize("timeout", [-0.1, 1.0, float("nan")])
def test_no_chance_of_time_is_refused(timeout: float) -> None:
    with pytest.raises(DataError, match="time runs out"):
        solve_round(waiting(1, 1, timeout))
