"""Throws on the demo pack: breaks and their windows, ducking, getting up, from behind, on the ground.

Outside check: common practice, no published source; the numbers are the demo pack's own.
"""

from __future__ import annotations

import pytest

from advisor.facts.question import Advantage
from tests.worked.demo_answer import duel, lying


@pytest.mark.parametrize(
    ("grip", "frame", "way"),
    [
        ("apron_haul", 12, "twine within 18 frames"),
        ("barrow_tip", 12, "trowel within 18 frames"),
        ("coal_chute", 11, "twine with trowel within 14 frames"),
    ],
)
def test_a_throw_that_takes_hold_names_its_break_and_the_window(grip: str, frame: int, way: str) -> None:
    mine = duel(("marl", grip), ("wenna", "guard"))
    assert (mine.against.verdict, mine.against.frame) == ("beats", frame)
    assert mine.said["throw/they-can-break"].endswith(f"takes hold on frame {frame}; the break is {way}.")
    theirs = duel(("wenna", "guard"), ("marl", grip))
    assert (theirs.against.verdict, theirs.against.frame) == ("loses", frame)
    assert theirs.said["throw/break-it"].endswith(f"takes hold on frame {frame}; break it with {way}.")
    assert any(caution.endswith(way) for caution in theirs.response.cautions)


def test_a_grip_on_somebody_in_recovery_cannot_be_broken() -> None:
    """The pack lets nobody break in recovery, so the same grip is a true punish there."""
    held = duel(("marl", "apron_haul"), ("wenna", "guard"))
    assert "breakable" in held.against.tags
    late = duel(("marl", "apron_haul"), ("wenna", "guard"), moment=Advantage(frames=12))
    assert (late.against.verdict, late.said["throw/no-break"]) == (
        "guaranteed", "Apron Haul takes hold on frame 12, and there is no breaking it here."
    )  # fmt: skip
    assert "throw/they-can-break" not in late.said


def test_a_duck_goes_under_and_punishes() -> None:
    found = duel(("wenna", "crouch"), ("marl", "apron_haul"))
    assert found.against.verdict == "beats"
    assert {"crouches_under", "under_throw", "whiff_punish"} <= set(found.against.tags)
    assert found.said["throw/goes-over"] == "You are crouching on frame 12: Apron Haul takes hold of nobody there."
    assert "Putty Jab (10 frames) punishes the whiff at 0.5" in found.said["evade/then-punish"]
    # Standing, the same grip takes hold.
    assert duel(("wenna", "guard"), ("marl", "apron_haul")).against.verdict == "loses"


@pytest.mark.parametrize(("frames", "verdict", "by"), [(0, "beats", "me"), (1, "beats", "me"), (2, "loses", "none")])
def test_a_throw_against_a_wake_up_waits_for_the_feet(frames: int, verdict: str, by: str) -> None:
    """Up at Once stands from its frame 12 on: crouching on 8 to 11, and a grip takes hold of no crouch.

    The grip is active on 12 and 13; a side that begins to rise after ``frames`` stands on ``frames`` + 12.
    """
    found = duel(("marl", "apron_haul"), ("wenna", "quick_rise"), moment=lying(frames))
    assert (found.against.verdict, found.against.by) == (verdict, by), found.said
    if by == "me":
        assert "twine within 18 frames" in found.said["throw/they-can-break"]


def test_a_throw_from_behind_has_no_break() -> None:
    mine = duel(("marl", "draught_haul"), ("wenna", "guard"), me={"stance": "draught", "near_wall": False})
    assert (mine.against.verdict, mine.against.dealt) == ("beats", 38)
    assert mine.said["throw/no-break"] == "Haul from Behind takes hold on frame 13, and there is no breaking it here."
    theirs = duel(("wenna", "guard"), ("marl", "draught_haul"), them={"stance": "draught"})
    assert theirs.against.verdict == "loses"
    assert "there is no breaking Haul from Behind" in theirs.response.cautions
    assert "duck or leave the ground before that" in theirs.said["throw/no-way-out"]
    assert duel(("wenna", "crouch"), ("marl", "draught_haul")).against.verdict == "beats"


def test_a_throw_with_the_back_turned_says_so_and_names_its_break() -> None:
    turned = duel(("marl", "over_the_shoulder"), ("wenna", "guard"), me={"back_turned": True})
    assert turned.said["resource/back-turned"] == "Over the Shoulder is there because your back is turned."
    assert turned.said["throw/they-can-break"].endswith("the break is twine with trowel within 14 frames.")
    assert turned.response.cautions == []
    assert duel(("marl", "over_the_shoulder"), ("wenna", "guard")).response.cautions == ["needs the back turned"]


def test_a_ground_throw_takes_who_lies_and_nobody_else() -> None:
    lies = duel(("wenna", "sweep_up_glass"), ("marl", "stay_down"), moment=lying(26), floor_breaks=False)
    assert (lies.against.verdict, lies.against.frame, lies.against.dealt) == ("guaranteed", 20, 20)
    assert "a ground throw hits there" in lies.said["okizeme/hits-the-ground"]
    assert "there is no breaking it" in lies.said["throw/no-break"]
    stands = duel(("wenna", "sweep_up_glass"), ("marl", "guard"))
    assert (stands.against.verdict, stands.against.by) == ("loses", "none")
    risen = duel(("wenna", "sweep_up_glass"), ("marl", "quick_rise"), moment=lying(2))
    assert risen.against.by == "none"
