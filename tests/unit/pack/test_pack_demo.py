"""The demo pack has every kind of data that the format knows, and the worked rows about the floor hold on it.

Rows of the trade's worked checks: common practice, no published source.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest

from advisor.advice.answer import ResponseAdvice
from advisor.facts import Question
from advisor.facts.question import Fighter, HitLanded, KnockedDown
from advisor.library import Shelf, load_shelf
from advisor.pack.model import UPRIGHT, Hit, Move
from advisor.units import FOREVER

FOLDER = Path(__file__).parents[3] / "rules" / "packs" / "cold_frame"
FIGHTERS = ("marl", "wenna", "ilko", "ketterby")


@cache
def demo() -> Shelf:
    return load_shelf(FOLDER, engine="plain")


def moves_of(who: str) -> list[Move]:
    return list(demo().pack.characters[who].moves.values())


def hits_of(who: str) -> list[Hit]:
    return [hit for move in moves_of(who) for hit in move.hits]


def level_kinds(move: Move) -> set[str]:
    levels = demo().pack.conventions.levels
    return {levels[hit.level].kind for hit in move.hits if hit.level is not None}


# Getting up.


def test_every_knockdown_state_has_wake_up_options_and_no_two_have_the_same() -> None:
    states = demo().pack.conventions.knockdowns
    assert all(len(state.wake_ups) >= 3 for state in states.values())
    assert len({frozenset(state.wake_ups) for state in states.values()}) == len(states)
    used = {key for state in states.values() for key in state.wake_ups}
    assert used == set(demo().pack.wake_ups)


def test_a_knockdown_that_a_move_leaves_is_a_state_of_the_pack() -> None:
    left: set[str | None] = {
        leaves.knockdown
        for who in FIGHTERS
        for hit in hits_of(who)
        for leaves in (hit.leaves_hit, hit.leaves_counter_hit)
        if leaves is not None and leaves.knockdown not in (None, UPRIGHT)
    }
    left |= {
        outcome.leaves.knockdown
        for who in FIGHTERS
        for move in moves_of(who)
        for parry in move.parry or ()
        for outcome in parry.outcomes
        if outcome.leaves is not None
    }
    assert left == set(demo().pack.conventions.knockdowns)


def test_a_wake_up_option_starts_off_the_feet_and_ends_on_them() -> None:
    rising = [move for who in FIGHTERS for move in moves_of(who) if move.wakes_from]
    for move in (*demo().pack.wake_ups.values(), *rising):
        spans = [*(move.grounded or ()), *(move.airborne or ())]
        assert min(span.start for span in spans) == 1, move.id
        assert move.total is not None, move.id
        assert move.total < FOREVER, move.id
        assert max(span.stop for span in spans) <= move.total, move.id


@pytest.mark.parametrize("who", FIGHTERS)
def test_each_fighter_has_a_rising_mid_a_rising_low_and_a_protected_one(who: str) -> None:
    rising = [move for move in moves_of(who) if move.wakes_from]
    levels = {hit.level for move in rising for hit in move.hits}
    assert "mid" in levels
    assert levels & {"low", "furrow"}
    assert any(move.invulnerable or move.armour or move.parry for move in rising)


# What else the format knows.


@pytest.mark.parametrize("who", FIGHTERS)
def test_each_fighter_has_every_kind_of_grip(who: str) -> None:
    grips = [move for move in moves_of(who) if "throw" in level_kinds(move)]
    assert any(hit.breaks for move in grips for hit in move.hits)
    assert any(hit.level == "ground_throw" for move in grips for hit in move.hits)
    assert any(move.requires is not None and move.requires.back_turned for move in grips)


def test_grips_from_behind_cannot_be_broken() -> None:
    behind = [hit for who in FIGHTERS for hit in hits_of(who) if hit.tags and "from_behind" in hit.tags]
    assert len(behind) >= 3
    assert all(hit.breaks == frozenset() for hit in behind)


def test_a_ground_grip_hits_nobody_who_stands() -> None:
    level = demo().pack.conventions.levels["ground_throw"]
    assert (level.kind, level.hits, level.blocked_by) == ("throw", frozenset({"grounded"}), frozenset())


@pytest.mark.parametrize("who", FIGHTERS)
def test_each_fighter_has_moves_for_meter_health_stance_and_wall(who: str) -> None:
    asks = [move.requires for move in moves_of(who) if move.requires is not None]
    assert any(move.cost for move in moves_of(who))
    assert any(one.health_below is not None for one in asks)
    assert any(one.stance is not None for one in asks)
    assert any(one.near_wall for one in asks)


def test_walls_and_floors_have_effects() -> None:
    leaves = [leaves for who in FIGHTERS for hit in hits_of(who) for leaves in (hit.leaves_hit,) if leaves]
    assert sum(one.wall is not None for one in leaves) >= 4
    assert sum(one.floor is not None for one in leaves) >= 2


# The worked rows about the floor.


def responses(question: Question) -> dict[str, ResponseAdvice]:
    return {one.option: one for one in demo().ask(question).responses}


def after(move: str, options: list[str], replies: list[str]) -> dict[str, ResponseAdvice]:
    """Marl has knocked Wenna down with ``move`` from touching; her options by id."""
    return responses(
        Question(
            me=Fighter(character="marl"),
            them=Fighter(character="wenna", meter=100),
            moment=HitLanded(attacker="me", move=move),
            distance="touching",
            responses=options,
            replies=replies,
        )
    )


def test_a_small_low_takes_the_floor_one_roll_and_the_rising_attack_and_loses_to_the_other_roll() -> None:
    replies = ["stay_down", "side_roll_right", "sash_lift", "side_roll_left"]
    low = after("apron_haul", ["ash_sweep"], replies)["ash_sweep"]
    assert {one.reply: one.effect for one in low.against} == {
        "stay_down": "hit", "side_roll_right": "hit", "sash_lift": "counter_hit", "side_roll_left": "none",
    }  # fmt: skip
    assert (low.beats, low.of, low.loses_to) == (3, 4, ["Roll Left"])
    assert [one.frame for one in low.against] == [17, 17, 17, None]


def test_reach_decides_before_frames() -> None:
    """Cinder Knee is a frame faster than Poker Thrust, and 1.8 away it reaches nobody."""
    found = after("coal_chute", ["cinder_knee", "poker_thrust"], ["quick_rise"])
    knee, thrust = found["cinder_knee"], found["poker_thrust"]
    assert (knee.first_active, thrust.first_active) == (13, 14)
    assert (knee.against[0].by, thrust.against[0].by) == ("none", "me")
    assert (thrust.against[0].effect, thrust.against[0].frame) == ("hit", 14)


def test_the_way_somebody_lies_decides_what_they_may_do() -> None:
    def offered(state: str) -> list[str]:
        question = Question(
            me=Fighter(character="ilko"),
            them=Fighter(character="wenna"),
            moment=KnockedDown(floored="them", state=state, frames=12),
            distance="close",
        )
        return demo().ask(question).situation.replies

    assert {"back_roll", "sash_lift", "shin_cut", "pane_from_floor"} <= set(offered("face_up"))
    assert "back_roll" not in offered("face_down")
    assert "side_roll_right" not in offered("side_on")
    assert offered("lofted") == ["land_on_feet", "land_rolling", "land_flat"]


@pytest.mark.parametrize(("frames", "effect"), [(9, "hit"), (5, "none")])
def test_a_ground_grip_takes_who_stays_down_and_misses_who_is_up(frames: int, effect: str) -> None:
    """Scrape the Comb is active on 16 and 17: Up at Once is off the floor on its frame 8."""
    found = responses(
        Question(
            me=Fighter(character="ilko"),
            them=Fighter(character="wenna"),
            moment=KnockedDown(floored="them", state="face_up", frames=frames),
            distance="close",
            responses=["comb_scrape"],
            replies=["stay_down", "quick_rise"],
        )
    )["comb_scrape"]
    assert [one.effect for one in found.against] == ["hit", effect]
