"""Evasion on the demo pack: each kind, what it fails against, and the whiff punish with speed and distance.

Outside check: common practice, no published source; the numbers are the demo pack's own.
"""

from __future__ import annotations

import pytest

from advisor.facts.question import Advantage
from tests.worked.demo_answer import Answer, duel


def punished(found: Answer, name: str, speed: int, distance: str) -> bool:
    """Whether the answer names this whiff punish, and the move is that fast and reaches that far."""
    return found.said.get("evade/then-punish", "").endswith(
        f"{name} ({speed} frames) punishes the whiff at {distance}."
    )


@pytest.mark.parametrize(
    ("step", "attack", "misses"),
    [
        ("sidestep_left", "ash_sweep", True), ("sidestep_right", "ash_sweep", False),
        ("sidestep_right", "flat_shovel", True), ("sidestep_left", "flat_shovel", False),
        ("sidestep_left", "round_shovel", False), ("sidestep_right", "round_shovel", False),
    ],
)  # fmt: skip
def test_a_sidestep_beats_what_does_not_track_to_that_side(step: str, attack: str, misses: bool) -> None:
    """The sweep tracks right, the flat shovel left, the round one both."""
    found = duel(("wenna", step), ("marl", attack))
    assert ("sidesteps" in found.against.tags) is misses
    assert (found.against.verdict == "beats") is misses
    assert punished(found, "Putty Jab", 10, "0.5") is misses


def test_a_backdash_beats_what_does_not_reach_and_the_distance_grows() -> None:
    """0.8 away and 1.2 back is 2: past the 1.8 of the shovel, and within reach of the 17-frame answer alone."""
    found = duel(("wenna", "backdash"), ("marl", "round_shovel"), 0.8)
    assert (found.against.verdict, found.against.by) == ("beats", "none")
    assert {"out_of_range", "whiff_punish"} <= set(found.against.tags)
    assert punished(found, "Measure Twice", 17, "2")
    assert found.against.leaves.distance == pytest.approx(2.0, abs=1e-4)
    # Against a shorter recovery nothing that fast reaches so far: it holds.
    short = duel(("wenna", "backdash"), ("marl", "cinder_knee"), 0.8)
    assert (short.against.verdict, short.against.leaves.advantage) == ("holds", 14)
    # What reaches 4 catches the step.
    assert duel(("wenna", "backdash"), ("ketterby", "top_shoot"), 0.8).against.verdict == "loses"


@pytest.mark.parametrize(
    ("attack", "frame"), [("ash_sweep", 17), ("under_coal", 22), ("apron_haul", 12), ("coal_chute", 11)]
)
def test_a_jump_clears_lows_and_throws(attack: str, frame: int) -> None:
    found = duel(("wenna", "jump"), ("marl", attack))
    assert found.against.by == "none"
    assert f"in the air on frame {frame}" in found.said["evade/jumps"]


def test_a_jump_is_hit_by_a_mid_and_punishes_a_long_low() -> None:
    struck = duel(("wenna", "jump"), ("marl", "boiler_kick"))
    assert (struck.against.verdict, struck.against.frame) == ("loses", 15)
    found = duel(("wenna", "jump"), ("marl", "under_coal"))
    assert found.against.verdict == "beats"
    assert punished(found, "Putty Jab", 10, "0.5")


def test_jump_status_lands_in_the_recovery_of_a_low() -> None:
    found = duel(("marl", "coal_hop"), ("wenna", "shin_cut"))
    assert (found.against.verdict, found.against.effect, found.against.frame) == ("beats", "hit", 20)
    assert "passes under you" in found.said["evade/jumps"]
    assert found.said["duel/whiff-punish"] == (
        "Shin Cut does not touch; Coal Hop (18 frames) lands on frame 20 from 0.5 away, before it has recovered."
    )


def test_a_crouch_goes_under_a_high_and_not_under_a_mid() -> None:
    found = duel(("wenna", "crouch"), ("marl", "hot_palm"))
    assert found.said["evade/crouches"] == "You are crouching on frame 15, and Hot Palm is high: it goes over you."
    assert found.against.verdict == "beats"
    assert punished(found, "Putty Jab", 10, "0.5")
    assert duel(("wenna", "crouch"), ("marl", "boiler_kick")).against.verdict == "loses"


def test_an_invulnerable_move_passes_through() -> None:
    """Begun after 4 frames it is on its frame 6, invulnerable to hands, when the jab arrives on 10."""
    behind = Advantage(frames=-4)
    found = duel(("ketterby", "shake_the_frost"), ("marl", "soot_jab"), moment=behind, me={"meter": 30})
    assert "invulnerable" in found.against.tags
    assert found.said["evade/passes-through"] == "Shake the Frost is invulnerable to Soot Jab when it arrives."
    assert (found.against.verdict, found.against.frame) == ("beats", 19)
    assert "Shake the Frost (15 frames) lands on frame 19 from 0.5 away" in found.said["duel/whiff-punish"]
    # Bodies pass, tools do not.
    tool = duel(("ketterby", "shake_the_frost"), ("marl", "flat_shovel"), moment=Advantage(frames=-6), me={"meter": 30})
    assert tool.against.verdict == "loses"


def test_an_armoured_move_takes_the_hit_and_goes_on() -> None:
    found = duel(("wenna", "storm_shutter"), ("marl", "hot_palm"), me={"meter": 50}, floor_breaks=False)
    assert (found.against.verdict, found.against.frame, found.against.dealt) == ("beats", 18, 40)
    assert "armour" in found.against.tags
    assert "Storm Shutter takes the damage of the hit it absorbs" in found.response.cautions
    # A low is not among what the armour takes.
    assert duel(("wenna", "storm_shutter"), ("marl", "ash_sweep"), me={"meter": 50}).against.verdict == "loses"
