"""Walls, floors and what an option asks, on the demo pack: damage, what follows, lethal, what is missing."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from advisor.advice import advise
from advisor.facts import Pair, Question, pair_of, ready, settle, situation_record, sources_of
from advisor.facts.question import Blocked, CounterHit, Fighter, KnockedDown, Neutral
from advisor.facts.situation import Situation
from tests.unit.advice.demo import shelf
from tests.worked.demo_answer import duel

WALL = "turn_to_wall"
"""28 damage and +14; pinned at a wall: 39 and +22, 0.6 apart."""


def met(mine: tuple[str, str], theirs: tuple[str, str], **more: Any) -> tuple[Situation, Pair]:
    """The one pair of a question, with facts."""
    moment = more.pop("moment", Neutral())
    me, them = more.pop("me", {}), more.pop("them", {})
    question = Question(
        me=Fighter(character=mine[0], **me), them=Fighter(character=theirs[0], **them), moment=moment,
        distance=0.5, responses=[mine[1]], replies=[theirs[1]], **more,
    )  # fmt: skip
    situation = settle(shelf().pack, question)
    ours, others, _ = ready(situation)
    return situation, pair_of(situation, ours[0], others[0])


AFTER = ("wall_after", "damage_dealt", "advantage_after", "knockdown_after", "distance_after", "added_damage")


@pytest.mark.parametrize(
    ("near", "facts"),
    [
        (False, ("none", 28, 14, "face_down", 2.1, 0)),
        (True, ("pinned", 39, 22, "sat_down", 0.6, 11)),
        (None, (None, None, None, None, None, None)),
    ],
)
def test_my_hit_at_the_wall_behind_them(near: bool | None, facts: tuple[object, ...]) -> None:
    _, pair = met(("wenna", WALL), ("marl", "guard"), me={"near_wall": near})
    assert tuple(pair.record.get(f"exchange.{name}") for name in AFTER) == facts
    assert pair.record.get("exchange.wall_if_near") == ("pinned" if near is None else None)
    # The wall behind me is none of its business.
    _, other = met(("wenna", WALL), ("marl", "guard"), me={"near_wall": near}, them={"near_wall": True})
    assert other.record == pair.record


@pytest.mark.parametrize(("near", "taken"), [(False, 28), (True, 39), (None, None)])
def test_their_hit_at_the_wall_behind_me(near: bool | None, taken: float | None) -> None:
    _, pair = met(("marl", "guard"), ("wenna", WALL), them={"near_wall": near}, me={"near_wall": not near})
    assert pair.record.get("exchange.damage_taken") == taken
    assert pair.record["exchange.damage_dealt"] == 0
    if near:
        assert (pair.record["exchange.advantage_after"], pair.record["exchange.wall_after"]) == (-22, "pinned")


@pytest.mark.parametrize(
    ("breaks", "dealt", "down", "floor"),
    [(False, 40, "face_up", "none"), (True, 54, "face_down", "cracked"), (None, None, None, None)],
)
def test_a_floor_that_breaks(breaks: bool | None, dealt: float | None, down: str | None, floor: str | None) -> None:
    _, pair = met(("wenna", "storm_shutter"), ("marl", "jump"), me={"meter": 50}, floor_breaks=breaks)
    names = ("damage_dealt", "knockdown_after", "floor_after")
    assert tuple(pair.record.get(f"exchange.{name}") for name in names) == (dealt, down, floor)
    # It has no wall effect, so a wall that nobody has told of leaves nothing open.
    assert pair.record["exchange.wall_after"] == "none"


def test_a_hit_without_effects_asks_for_no_surroundings() -> None:
    for near in (None, False, True):
        situation, pair = met(("marl", "ember_elbow"), ("wenna", "jump"), me={"near_wall": near})
        assert pair.outcome is not None
        assert pair.outcome.hangs == frozenset()
        shown = [source.shown() for source in sources_of("exchange.damage_dealt", pair, situation)]
        assert not [text for text in shown if "wall" in text or "floor" in text]


def test_a_blocked_hit_does_nothing_at_the_wall() -> None:
    _, pair = met(("marl", "coal_shoulder"), ("wenna", "guard"), me={"near_wall": True})
    assert (pair.record["exchange.effect"], pair.record["exchange.wall_after"]) == ("blocked", "none")


def test_an_option_that_asks_for_a_wall_has_it() -> None:
    _, pair = met(("marl", "boiler_wall"), ("wenna", "jump"))
    assert (pair.record["exchange.wall_after"], pair.record["exchange.damage_dealt"]) == ("pinned", 34)


@pytest.mark.parametrize(
    ("health", "near", "lethal", "only"),
    [
        (29, True, True, True), (39, True, True, True), (40, True, False, False), (29, False, False, False),
        (28, True, True, False), (28, False, True, False), (28, None, True, False), (29, None, None, False),
        (40, None, False, False),
    ],
)  # fmt: skip
def test_lethal_counts_the_wall(health: float, near: bool | None, lethal: bool | None, only: bool) -> None:
    """28 in the open, 39 at the wall: up to 28 it ends the round anywhere, up to 39 only there."""
    _, pair = met(("wenna", WALL), ("marl", "guard"), me={"near_wall": near}, them={"health": health})
    assert pair.record.get("exchange.lethal") is lethal
    assert pair.record["exchange.they_are_lethal"] is False
    found = duel(("wenna", WALL), ("marl", "guard"), me={"near_wall": near}, them={"health": health})
    assert ("lethal_at_wall" in found.against.tags) is only
    if only:
        assert "ends the round at the wall" in found.said["round/lethal-at-the-wall"]


def test_their_lethal_hit_at_my_wall_is_a_caution() -> None:
    found = duel(("marl", "guard"), ("wenna", WALL), me={"health": 30}, them={"near_wall": True})
    assert {"deadly", "deadly_at_wall", "wall_behind_me"} <= set(found.against.tags)
    assert "Turn to the Wall kills only because of the wall behind you" in found.response.cautions


def test_what_is_not_told_is_named() -> None:
    found = duel(("wenna", WALL), ("marl", "guard"))
    assert "near_wall is not told: a wall would make it pinned" in found.response.cautions
    situation, pair = met(("wenna", WALL), ("marl", "guard"))
    shown = [s.shown() for s in sources_of("exchange.damage_dealt", pair, situation)]
    assert "me.near_wall = unknown" in shown
    situation, pair = met(("wenna", WALL), ("marl", "guard"), me={"near_wall": True})
    assert "me.near_wall = True" in [s.shown() for s in sources_of("exchange.damage_dealt", pair, situation)]


PUSHED = CounterHit(attacker="me", move="coal_shoulder")
"""+14 and face up in the open; pinned at a wall: +22, sat down, 0.6 apart."""


@pytest.mark.parametrize(
    ("near", "lead", "down", "distance"), [(False, 14, "face_up", 2.5), (True, 22, "sat_down", 0.6)]
)
def test_the_moment_itself_was_at_a_wall(near: bool, lead: int, down: str, distance: float) -> None:
    situation, _ = met(("marl", "soot_jab"), ("wenna", "guard"), moment=PUSHED, me={"near_wall": near})
    record = situation_record(situation)
    names = ("situation.advantage", "situation.knockdown", "situation.distance")
    assert tuple(record[name] for name in names) == (lead, down, distance)


def test_a_moment_at_a_wall_that_nobody_has_told_of_decides_nothing() -> None:
    situation, pair = met(("marl", "soot_jab"), ("wenna", "guard"), moment=PUSHED)
    assert (situation.advantage, situation.knockdown, situation.distance) == (None, None, None)
    assert (situation.nearest, situation.farthest) == (600_000, 2_500_000)
    assert pair.missing == {"situation.me.near_wall"}
    at_hand = shelf()
    question = Question(
        me=Fighter(character="marl"), them=Fighter(character="wenna"), moment=PUSHED, distance=0.5,
        responses=["soot_jab"], replies=["guard"],
    )  # fmt: skip
    advice = advise(at_hand.pack, at_hand.rules, at_hand.evaluator, question)
    assert [(m.move, m.property) for m in advice.missing] == [("", "me.near_wall")]
    # What was blocked has no such effect, and asks for nothing.
    blocked = msgspec.structs.replace(question, moment=Blocked(attacker="me", move="coal_shoulder"))
    assert settle(at_hand.pack, blocked).advantage == -8


# --- what an option asks of its user ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("option", "state", "why"),
    [
        ("full_steam", {"meter": 49}, "it costs 50 meter"),
        ("last_coal", {"health": 45.0}, "it needs health below 25%"),
        ("draught_haul", {"stance": "kneel"}, "it needs stance draught"),
        ("back_shovel", {"back_turned": False}, "it needs the back turned"),
        ("boiler_wall", {"near_wall": False}, "it needs a wall"),
    ],
)
def test_what_is_not_met_is_excluded_with_the_reason(option: str, state: dict[str, Any], why: str) -> None:
    question = Question(me=Fighter(character="marl", **state), them=Fighter(character="wenna"), moment=Neutral())
    assert dict(settle(shelf().pack, question).excluded)[option] == why


@pytest.mark.parametrize(
    ("option", "state", "tag", "sentence"),
    [
        ("full_steam", {"meter": 50}, "spends_meter", "Full Steam costs 50 meter."),
        ("last_coal", {"health": 44.0}, "last_resort", "is open below 25 % of your health; you have 44 left."),
        ("draught_haul", {"stance": "draught"}, "from_stance", "Haul from Behind comes out of draught."),
        ("back_shovel", {"back_turned": True}, "back_turned", "is there because your back is turned."),
        ("boiler_wall", {"near_wall": True}, "needs_wall", "is there only while they stand near a wall."),
    ],
)
def test_what_is_met_is_weighed_and_says_what_it_rests_on(
    option: str, state: dict[str, Any], tag: str, sentence: str
) -> None:
    question = Question(me=Fighter(character="marl", **state), them=Fighter(character="wenna"), moment=Neutral())
    assert option in {entry.key for entry in settle(shelf().pack, question).responses}
    found = duel(("marl", option), ("wenna", "guard"), me=state)
    assert tag in found.against.tags
    assert any(said.endswith(sentence) for said in found.said.values()), found.said
    assert not [caution for caution in found.response.cautions if caution.startswith("needs")]


@pytest.mark.parametrize(
    ("option", "state", "caution"),
    [
        ("full_steam", {}, "needs 50 meter"),
        ("boiler_wall", {}, "needs a wall near by"),
        ("full_steam", {"meter": 10}, "needs 50 meter"),
        ("last_coal", {"health": 45.0}, "needs health below 25%"),
        ("draught_haul", {}, "needs stance draught"),
        ("back_shovel", {}, "needs the back turned"),
    ],
)
def test_what_is_unknown_or_asked_for_all_the_same_is_a_caution(
    option: str, state: dict[str, Any], caution: str
) -> None:
    assert caution in duel(("marl", option), ("wenna", "guard"), me=state).response.cautions


def test_a_knockdown_has_surroundings_too() -> None:
    moment = KnockedDown(floored="them", state="face_up", frames=26)
    _, pair = met(("wenna", "sweep_up_glass"), ("marl", "stay_down"), moment=moment, floor_breaks=True)
    assert (pair.record["exchange.damage_dealt"], pair.record["exchange.floor_after"]) == (34, "cracked")
