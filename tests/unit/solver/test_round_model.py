"""The round as data: what is refused and how, rounding to steps, the comeback rule, and readings of healths."""

from __future__ import annotations

import msgspec
import pytest
from round_samples import duel, race, situation

from advisor.errors import DataError
from advisor.solver.round import solve_round
from advisor.solver.round_model import Comeback, RoundModel, comeback_steps, damage_steps, tabulate
from advisor.solver.round_reading import comeback_threshold, lethal_thresholds


def one(branches: list[tuple[float, float, float, str]], **fields: object) -> RoundModel:
    return RoundModel(
        situations=(situation("play", [[branches]]),), **{"my_steps": 4, "their_steps": 4, **fields}
    )


@pytest.mark.parametrize(
    ("model", "path", "message", "right"),
    [
        (one([(0.5, 1, 0, "play")]), "situations[0].cells[0][0]", "chances that sum to `0.5`", "sum to 1"),
        (one([(1.0, 1, 0, "plya")]), "situations[0].cells[0][0][0].next", "`plya`", "did you mean `play`?"),
        (one([(1.0, -1, 0, "play")]), "situations[0].cells[0][0][0].dealt", "damage of `-1`", "0 or more"),
        (one([(1.0, 0, float("nan"), "play")]), "situations[0].cells[0][0][0].taken", "`nan`", "0 or more"),
        (one([(float("nan"), 0, 0, "play")]), "situations[0].cells[0][0][0].chance", "`nan`", "0 to 1"),
        (one([(1.0, 1, 0, "play")], my_steps=0), "my_steps", "`0` steps", "1 to"),
        (one([(1.0, 1, 0, "play")], points_per_step=0.0), "points_per_step", "`0.0`", "above 0"),
        (one([(1.0, 1, 0, "play")], draw=1.5), "draw", "`1.5`", "0 to 1"),
        (one([(1.0, 1, 0, "play")], comeback=Comeback(below=0, times=2)), "comeback.below", "`0`", "above 0"),
        (one([(1.0, 1, 0, "play")], comeback=Comeback(below=0.5, times=0)), "comeback.times", "`0`", "above 0"),
        (RoundModel(situations=(), my_steps=1, their_steps=1), "situations", "`0` situations", "1 to"),
    ],
)
def test_models_that_mean_nothing(model: RoundModel, path: str, message: str, right: str) -> None:
    with pytest.raises(DataError) as caught:
        solve_round(model)
    fault = caught.value.findings[0]
    assert fault.path == path
    assert message in fault.message
    assert right in fault.help


def test_every_fault_is_listed() -> None:
    good = race(0.6, 2, 2).situations[0]
    twice = msgspec.structs.replace(good, mine=("a0", "a0"))
    model = RoundModel(situations=(twice, good), my_steps=2, their_steps=0, draw=-1)
    with pytest.raises(DataError) as caught:
        solve_round(model)
    assert [f.path for f in caught.value.findings] == [
        "their_steps", "draw", "situations", "situations[0].mine", "situations[0].cells",
    ]


@pytest.mark.parametrize(
    ("damage", "nearest", "up"), [(0.0, 0, 0), (4.9, 0, 1), (5.0, 1, 1), (10.0, 1, 1), (14.9, 1, 2), (15.0, 2, 2)]
)
def test_rounding_to_steps(damage: float, nearest: int, up: int) -> None:
    model = one([(1.0, 10, 0, "play")], points_per_step=10.0)
    assert damage_steps(model, damage) == nearest
    assert damage_steps(msgspec.structs.replace(model, rounding="up"), damage) == up


def test_the_largest_rounding_is_part_of_the_answer() -> None:
    model = one([(0.5, 23, 0, "play"), (0.5, 0, 9, "play")], points_per_step=10.0)
    assert solve_round(model).rounding_error == pytest.approx(3)
    assert solve_round(msgspec.structs.replace(model, rounding="up")).rounding_error == pytest.approx(7)
    assert solve_round(msgspec.structs.replace(model, points_per_step=1.0)).rounding_error == 0


@pytest.mark.parametrize(
    ("below", "full", "bar"), [(0.5, 10, 4), (0.25, 10, 2), (0.3, 10, 2), (1.0, 10, 9), (0.05, 10, 0)]
)
def test_the_bar_of_the_comeback_rule(below: float, full: int, bar: int) -> None:
    """Below is below: at half of ten steps the rule is on from four."""
    model = one([(1.0, 1, 0, "play")], comeback=Comeback(below=below, times=2))
    assert comeback_steps(model, full) == bar


def test_raised_damage() -> None:
    cells = tabulate(
        one([(0.25, 2, 0, "play"), (0.75, 0, 3, "play")], comeback=Comeback(below=0.5, times=2)),
        mine_raised=True, theirs_raised=False,
    )
    assert cells.pairs == ((0, 3), (4, 0))
    assert cells.hits.ravel().tolist() == [0.75, 0.25]
    assert cells.moves.ravel().tolist() == [0.0]


def test_lethal_thresholds() -> None:
    """Option 0 always deals 3; option 1 deals 5 half of the time and may miss; option 2 kills us both."""
    sure, risky = [(1.0, 3.0, 0.0, "play")], [(0.5, 5.0, 0.0, "play"), (0.5, 0.0, 1.0, "play")]
    model = RoundModel(
        situations=(situation("play", [[sure, sure], [risky, risky], [[(1.0, 9.0, 9.0, "play")]] * 2]),),
        my_steps=6, their_steps=8,
    )
    found = lethal_thresholds(solve_round(model), "play", 2)
    assert (found.sure, found.sure_option) == (3, "a0")
    assert (found.possible, found.possible_option) == (5, "a1")
    assert found.jump is None or found.jump.least <= found.jump.most


def test_the_jump_stands_where_the_hit_kills() -> None:
    """They win next turn, so all hangs on whether this one hit is enough."""
    both = [(1.0, 3.0, 0.0, "theirs")]
    last = [(1.0, 0.0, 9.0, "mine")]
    model = RoundModel(
        situations=(situation("mine", [[both]]), situation("theirs", [[last]])), my_steps=4, their_steps=7
    )
    jump = lethal_thresholds(solve_round(model), "mine", 4).jump
    assert jump is not None
    assert (jump.health, jump.least, jump.most) == (3, pytest.approx(1), pytest.approx(1))


def test_the_comeback_threshold() -> None:
    """With a strong rule, one step less is the better state at the bar; a weak one does not turn the order."""
    solution = solve_round(duel(8, comeback=Comeback(below=0.5, times=3)))
    assert solution.closed
    jump = comeback_threshold(solution, "stand", 8)
    assert jump is not None
    assert jump.health == 3
    assert jump.least > 0.02
    assert jump.most - jump.least <= 2 * solution.widest + 1e-12
    low, high = solution.bounds("stand", 3, 8)[0], solution.bounds("stand", 4, 8)[1]
    assert jump.least == low - high
    weak = comeback_threshold(solve_round(duel(6, comeback=Comeback(below=0.5, times=1.1))), "stand", 6)
    assert weak is not None and weak.most < 0
    assert comeback_threshold(solve_round(duel(4)), "stand", 4) is None
