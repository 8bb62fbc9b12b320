"""The study ``guess``: the guess between two heights, cells by hand, delays against every frame, and what is unknown.

The two by two formula, and what a cell counts: common practice, no published source.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from advisor.errors import AdvisorError
from advisor.facts import ready
from advisor.pack.model import Pack
from advisor.studies.coverage_cells import Grid
from advisor.studies.guess_options import settled, timed_by
from advisor.studies.guess_table import build
from advisor.studies.guess_worth import Stated, damage_worth, punish_damage
from tests.unit.studies.slipway import PARRY, changed, strike
from tests.unit.studies.slipway_guess import FLAT, LIE, asked, cell, guessed, second_value, with_guards

MID = strike("mid", 12, damage=20.0, on_block=-12)
LOW = strike("low", 12, damage=10.0, level="low", on_block=-14)
JAB, BIG = strike("jab", 10, damage=7.0), strike("big", 13, damage=30.0)
GUESS: dict[str, Any] = {"responses": ["mid", "low"], "replies": ["stand_guard", "crouch_guard"]}


def heights() -> Pack:
    return with_guards([MID, LOW], [JAB, BIG])


def shares(options: Any) -> dict[str, float]:
    return {one.option: one.share for one in options}


def test_the_guess_between_two_heights() -> None:
    answer = guessed(heights(), **GUESS, further="none")
    # Mid earns 20 on those who crouch, low 10 on those who stand: 20 * 10 / 30, low twice as often.
    assert answer.value == pytest.approx(20 * 10 / 30) and answer.gap <= 1e-6
    assert shares(answer.mine) == pytest.approx({"mid": 1 / 3, "low": 2 / 3})
    assert shares(answer.theirs) == pytest.approx({"stand_guard": 2 / 3, "crouch_guard": 1 / 3})
    assert not answer.pure and answer.unique


def test_the_guess_with_punishes_on_block() -> None:
    answer = guessed(heights(), **GUESS)
    # -12 is taken by the 10-frame jab (7), -14 by the 13-frame strike (30): [[-7, 20], [10, -30]].
    payoff = [[cell(answer, a, b).value for b in GUESS["replies"]] for a in GUESS["responses"]]
    assert payoff == [[-7.0, 20.0], [10.0, -30.0]]
    assert answer.value == pytest.approx((-7 * -30 - 20 * 10) / (-7 - 30 - 20 - 10))
    assert answer.value == pytest.approx(second_value(payoff))
    assert shares(answer.mine)["mid"] == pytest.approx(40 / 67)
    assert shares(answer.theirs)["stand_guard"] == pytest.approx(50 / 67)


GRIP = strike("grip", 10, level="throw", damage=15.0, breaks=frozenset({"push"}))
SLAM = strike("slam", 12, damage=12.0, leaves_hit=FLAT)
SAME = strike("same", 12, damage=6.0)


@pytest.mark.parametrize(
    ("mine", "theirs", "more", "by_hand"),
    [
        ("mid", "stand_guard", {}, (0, 0, -7)),  # blocked, -12: the jab
        ("mid", "same", {}, (20, 6, 0)),  # a trade
        ("mid", "jab", {}, (0, 7, 0)),  # jab first, and +5 is too little for a punish
        ("mid", "big", {}, (20, 0, 0)),  # counter-hit
        ("brace", "jab", {}, (20, 0, 0)),  # caught, and they lie
        ("brace", "stand_guard", {}, (0, 0, -30)),  # nothing came: the whole parry is open
        ("slam", "crouch_guard", {"knockdown": {"flat": 9.0}}, (12, 0, 9)),
        ("mid", "crouch_guard", {"frame": 2.0}, (20, 0, 10)),  # +5
        ("mid", "stand_guard", {"frame": 2.0}, (0, 0, -7 - 24)),
    ],
)
def test_cells_by_hand(mine: str, theirs: str, more: dict[str, Any], by_hand: tuple[float, ...]) -> None:
    pack = with_guards([MID, GRIP, PARRY, SLAM], [JAB, BIG, SAME])
    answer = guessed(
        pack, responses=[mine], replies=[theirs], worth=more or None,
    )  # fmt: skip
    found = cell(answer, mine, theirs)
    assert (found.dealt, found.taken, found.further) == by_hand
    assert found.value == by_hand[0] - by_hand[1] + by_hand[2]


def test_meter_is_paid() -> None:
    dear = strike("dear", 12, damage=20.0, body={"cost": 2})
    pack = with_guards([dear], [JAB])
    request = {"responses": ["dear"], "replies": ["crouch_guard"], "me": {"character": "ada", "meter": 5}}
    assert guessed(pack, **request, worth={"meter": 3.0}).value == 20 - 2 * 3


def risers() -> Pack:
    wild = strike("wild", 16, damage=25.0, total=60, body={"crouching": ()})
    return with_guards([MID, LOW, wild], [JAB, BIG])


@pytest.mark.parametrize("floored", ["me", "them"])
@pytest.mark.parametrize("further", ["none", "punish"])
@pytest.mark.parametrize("distance", [0.5, 3.0])
def test_delays_against_every_frame(floored: str, further: str, distance: float) -> None:
    request = {"moment": {**LIE, "floored": floored}, "further": further, "distance": distance, "delays": 60}
    if floored == "me":
        request["replies"] = ["jab", "big"]
    pack = risers()
    wanted = asked(**request)
    situation = settled(pack, wanted.question(responses=wanted.responses, replies=wanted.replies))
    side = timed_by(situation)
    assert side == ("me" if floored == "them" else "them")
    grid = Grid(situation, 60, side)
    mine, theirs, more = ready(situation)
    theirs = [*theirs, *more]
    worth = damage_worth(None if further == "none" else lambda after: punish_damage(situation, after), Stated())
    table = build(grid, mine, theirs, worth)
    for i, row in enumerate(table.mine):
        for j, column in enumerate(table.theirs):
            timed = row if side == "me" else column
            for delay in range(timed.first, timed.last + 1):
                assert worth(grid.meeting(row.ready, column.ready, delay)).value == table.payoff[i, j]
    every = [
        [[worth(grid.meeting(a, b, delay)).value for b in theirs] for a in mine] for delay in range(61)
    ]
    dense = np.array(every, dtype=float)
    whole = dense.reshape(-1, len(theirs)) if side == "me" else np.hstack(list(dense))
    answer = guessed(pack, **request)
    assert answer.value == pytest.approx(second_value(whole), abs=1e-7)
    assert answer.timed_by == side


def test_an_option_with_unknown_damage_is_left_out_and_named() -> None:
    blank = strike("blank", 12, damage=None)
    answer = guessed(with_guards([MID, LOW, blank], [JAB, BIG]), further="none", replies=GUESS["replies"])
    assert set(answer.left_out) == {"blank"} and "damage" in answer.left_out["blank"]
    assert [(m.move, m.property) for m in answer.missing if m.move == "blank"]
    assert answer.value == pytest.approx(20 * 10 / 30)


def test_a_column_unknown_for_all_is_left_out_with_a_caution() -> None:
    dark = changed(strike("dark", damage=9.0), first_active=None, active_stop=None)
    answer = guessed(
        with_guards([MID, LOW], [JAB, dark]), responses=["mid", "low"], replies=[*GUESS["replies"], "dark"],
        further="none",
    )  # fmt: skip
    assert "their dark" in answer.left_out
    assert any("some of theirs are left out" in caution for caution in answer.cautions)


def test_nothing_known_is_refused_with_help() -> None:
    pack = with_guards([strike("blank", 12, damage=None)], [JAB])
    with pytest.raises(AdvisorError, match="hangs on something unknown") as found:
        guessed(pack, responses=["blank"], replies=["crouch_guard"])
    assert found.value.help is not None and "damage" in found.value.help


def test_an_unknown_distance_is_said() -> None:
    short = strike("short", 12, reach=0.1, damage=4.0)
    with pytest.raises(AdvisorError) as found:
        guessed(with_guards([short], [JAB]), distance=None, responses=["short"], replies=["crouch_guard"])
    assert found.value.help is not None and "distance" in found.value.help
