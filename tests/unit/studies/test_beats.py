"""What beats an option: worked by hand on a small pack (common practice, no published source)."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from advisor.errors import AdvisorError
from advisor.pack.model import Armour, Catch, Character, Displacement, Move, Shield
from advisor.units import Span, to_micro
from tests.unit.studies.slipway import PARRY, answered, changed, followed, later, move, pack_of, rows, strike

JAB = strike("jab", 10, reach=1.5, on_block=1, damage=8.0)
SIDES = ("left", "right")


@pytest.mark.parametrize(("on_block", "punished"), [(-9, False), (-10, True), (-12, True), (0, False), (3, False)])
def test_a_jab_of_ten_punishes_minus_ten_after_a_block(on_block: int, punished: bool) -> None:
    found = rows(answered(pack_of([JAB], [strike("knee", 14, on_block=on_block)]), moves=["knee"]), "after_block")
    assert ("jab" in found) == punished
    if punished:
        row = found["jab"]
        assert row.verdict == "guaranteed"
        assert row.window == -on_block - 9
        assert row.damage == 8.0
        assert row.cells[0].sentence == (
            f"They cannot act until frame {-on_block} is over; Jab lands on frame 10."
        )


def test_pushback_takes_the_punish_out_of_reach_and_the_distance_is_named() -> None:
    knee = strike("knee", 14, reach=1.2, pushback_block=to_micro(0.4))
    near = answered(pack_of([JAB], [knee]), moves=["knee"], distance=1.1)
    far = answered(pack_of([JAB], [knee]), moves=["knee"], distance=1.15)
    assert rows(near, "after_block")["jab"].cells[0].works_to == pytest.approx(1.1)
    assert "jab" not in rows(far, "after_block")


@pytest.mark.parametrize(("first", "verdict"), [(13, "beats"), (14, "trades"), (15, None)])
def test_the_earlier_contact_interrupts(first: int, verdict: str | None) -> None:
    mine = strike("poke", first, reach=2.0)
    found = rows(answered(pack_of([mine], [strike("knee", 14)]), moves=["knee"], when=["before"]))
    wins = verdict == "beats"
    assert ("poke" in found) == wins
    if wins:
        assert found["poke"].verdict == verdict
        assert found["poke"].window == 14 - first
        assert found["poke"].cells[0].tags == ["interrupt"]


@pytest.mark.parametrize("advantage", [-3, 0, 4])
def test_advantage_moves_the_window_of_an_interrupt(advantage: int) -> None:
    found = rows(answered(pack_of([JAB], [strike("knee", 16)]), moves=["knee"], advantage=advantage), "before")
    assert found["jab"].window == 16 - 10 + advantage


def test_who_merely_stands_too_far_away_interrupts_nothing() -> None:
    found = answered(pack_of([JAB], [strike("knee", 16)]), moves=["knee"], distance=1.6)
    assert not rows(found, "before")
    assert found.targets[0].hits is False


def test_the_parry_takes_hands_on_its_nine_frames() -> None:
    hand, elbow = strike("hand", 14), strike("elbow", 14, tags=frozenset({"hand", "elbow"}))
    row = rows(answered(pack_of([PARRY], [hand]), moves=["hand"]), "during")["brace"]
    assert row.verdict == "beats"
    # Active on d + 2 to d + 10; 14 is inside for d = 4 to 12.
    assert [(run.first, run.last) for run in row.cells[0].delays] == [(4, 12)]
    assert row.delay == 4 and row.window == 9 and row.damage == 20.0
    assert row.cells[0].leaves.catch == "wrist turned"
    assert "brace" not in rows(answered(pack_of([PARRY], [elbow]), moves=["elbow"]))


def test_an_unblockable_hand_is_caught_too() -> None:
    palm = strike("palm", 14, level="unblockable")
    found = answered(pack_of([PARRY], [palm]), moves=["palm"])
    assert rows(found, "during")["brace"].verdict == "beats"
    assert [one.sentence for one in found.open if one.when == "after_block"] == ["No guard stops Palm."]


def test_a_parry_against_unknown_tags_is_unknown_and_says_so() -> None:
    row = rows(answered(pack_of([PARRY], [strike("hand", 14, tags=None)]), moves=["hand"]))["brace"]
    assert row.verdict == "unknown"
    assert [(m.move, m.property) for m in row.cells[0].hangs_on] == [("hand", "tags")]


def test_a_throw_goes_over_a_crouch_and_under_a_jump_and_can_be_broken() -> None:
    grab = strike("grab", 12, level="throw", breaks=frozenset({"push"}), total=50)
    found = answered(pack_of([JAB], [grab]), moves=["grab"])
    target = found.targets[0]
    assert target.kind == "throw" and target.blocked_by == []
    assert [(way.id, way.input, way.window) for way in target.breaks] == [("push", "hand", 14)]
    assert target.breakable_in == ["free", "guarding", "moving"]
    during = rows(found, "during")
    assert during["crouch"].cells[0].tags[0] == "crouches_under"
    assert during["jump"].verdict == "beats" and "jumps_over" in during["jump"].cells[0].tags
    # The throw is over after 50, the jump begun at once after 30: +20, and the jab punishes.
    assert during["jump"].cells[0].leaves.advantage == 20
    assert [one.option for one in during["jump"].cells[0].then] == ["jab"]


def test_an_evasion_wins_only_on_the_delays_that_leave_a_punish() -> None:
    grab = strike("grab", 12, level="throw", breaks=frozenset(), total=44)
    row = rows(answered(pack_of([JAB], [grab]), moves=["grab"]), "during")["jump"]
    # In the air on d + 5 to d + 27, and 13 is the last active frame: d up to 7. The jab takes 10 frames, so that
    # 44 - (30 + d) >= 10 holds up to d = 4.
    assert [(run.first, run.last) for run in row.cells[0].delays] == [(0, 4)]


@pytest.mark.parametrize(
    ("tracks", "verdict"),
    [(frozenset({"right"}), "beats"), (frozenset({"left"}), None), (frozenset(SIDES), None), (None, "unknown")],
)
def test_a_step_to_the_left_beats_what_does_not_track_left(tracks: frozenset[str] | None, verdict: str | None) -> None:
    found = answered(pack_of([JAB], [strike("knee", 14, tracks=tracks, total=45)]), moves=["knee"])
    row = rows(found, "during").get("step_left")
    assert (row.verdict if row else None) == verdict
    if verdict == "unknown":
        assert row is not None
        assert ("knee", "tracking") in [(m.move, m.property) for m in row.cells[0].hangs_on]
        assert found.targets[0].sidesteps is None


def test_a_backdash_works_from_the_distance_at_which_it_leaves_the_reach() -> None:
    # Begun at once it has gone back 1 by frame 10; the knee of frame 14 reaches 1.3.
    found = answered(pack_of([JAB], [strike("knee", 14, reach=1.3, total=45)]), moves=["knee"], distance=0.5)
    cell = rows(found, "during")["backdash"].cells[0]
    assert cell.verdict == "beats"
    assert cell.works_from == pytest.approx(0.3)
    assert cell.works_to is None
    near = answered(pack_of([JAB], [strike("knee", 14, reach=1.3, total=45)]), moves=["knee"], distance=0.3)
    assert "backdash" not in rows(near, "during")


def test_a_whiff_punish_works_beyond_their_reach_and_within_mine() -> None:
    found = answered(pack_of([JAB], [strike("knee", 14, reach=1.3, total=45)]), moves=["knee"])
    cell = rows(found, "after_whiff")["jab"].cells[0]
    assert cell.verdict == "guaranteed"
    assert (cell.works_from, cell.works_to) == (pytest.approx(1.3), pytest.approx(1.5))
    # Active on 14 and 15, over after 45: 30 frames to punish in, and 10 for the jab.
    assert cell.width == 21
    short = strike("tap", 10, reach=1.3)
    equal = answered(pack_of([short], [strike("knee", 14, reach=1.3, total=45)]), moves=["knee"])
    assert not rows(equal, "after_whiff")


def test_a_lunge_that_misses_has_come_nearer() -> None:
    body = {"displacement": (Displacement(span=Span(1, 11), step=to_micro(0.1)),)}
    lunge = strike("lunge", 14, reach=1.0, total=45, body=body)
    cell = rows(answered(pack_of([JAB], [lunge]), moves=["lunge"]), "after_whiff")["jab"].cells[0]
    assert (cell.works_from, cell.works_to) == (pytest.approx(2.0), pytest.approx(2.5))


def test_armour_and_invulnerability_go_through() -> None:
    spans = Span(1, 30)
    armoured = strike("shoulder", 20, total=40, body={"armour": (Armour(span=spans, to=Catch()),)})
    ghost = strike("ghost", 20, total=40, body={"invulnerable": (Shield(span=spans, to=Catch()),)})
    found = rows(answered(pack_of([armoured, ghost], [strike("knee", 14, total=40)]), moves=["knee"]), "during")
    assert found["shoulder"].verdict == found["ghost"].verdict == "beats"
    assert "armour" in found["shoulder"].cells[0].tags
    assert "invulnerable" in found["ghost"].cells[0].tags


def test_a_throw_beats_a_guard_and_a_strike_does_not() -> None:
    grab = strike("grab", 12, level="throw", breaks=frozenset())
    found = rows(answered(pack_of([JAB, grab], [JAB]), moves=["guard"]))
    assert found["grab"].verdict == "beats" and "jab" not in found


def string(arrives: int, last: int | None = None, **hit: Any) -> list[Move]:
    two = later(strike("two", 12, **hit))
    return [followed(strike("one", 10, on_block=-2), (two, arrives, last or arrives)), two]


@pytest.mark.parametrize(("arrives", "caught"), [(14, False), (15, False), (16, True), (17, True), (30, True)])
def test_a_gap_lets_the_parry_in(arrives: int, caught: bool) -> None:
    found = answered(pack_of([PARRY], string(arrives)), string=["one", "two"], when=["gap"])
    assert ("brace" in rows(found)) == caught
    jails = arrives <= 14
    assert bool([one for one in found.open if "jails" in one.sentence]) == jails
    if caught:
        cell = rows(found)["brace"].cells[0]
        assert cell.against == "two"
        # The stun is 14; active on 14 + d + 2 to 14 + d + 10.
        assert [(r.first, r.last) for r in cell.delays] == [(max(0, arrives - 24), arrives - 16)]


def test_a_string_that_goes_on_takes_the_punish_back() -> None:
    # The first hit is -12, but the second arrives 16 after it, before the jab of 10 begun after the stun of 14.
    two = later(strike("two", 12))
    one = followed(strike("one", 10, on_block=-12), (two, 16, 16))
    cell = rows(answered(pack_of([JAB], [one, two]), moves=["one"]), "after_block")["jab"].cells[0]
    assert cell.verdict == "guaranteed"
    assert cell.unless == ["two"]


def test_a_habit_is_answered_with_one_delay() -> None:
    quick, grab = strike("quick", 12, level="high", total=45), strike("grab", 16, level="throw", total=45)
    kick = strike("kick", 14, level="low", total=45)
    found = answered(pack_of([JAB], [quick, grab, kick]), moves=["quick", "grab", "kick"])
    crouch, jab = rows(found, "during")["crouch"], rows(found, "before")["jab"]
    assert (jab.covers, jab.of, jab.delay, jab.window) == (3, 3, 0, 2)
    assert [cell.against for cell in jab.cells] == ["quick", "grab", "kick"]
    assert crouch.of == 3 and {c.against: c.verdict for c in crouch.cells}["kick"] == "loses"
    assert crouch.verdict == "loses"


def test_a_habit_with_shares_says_how_much_of_it_is_beaten() -> None:
    """By hand: a crouch goes under the high and the throw, not the low; a parry of hands takes high and low."""
    quick = strike("quick", 12, level="high", total=45)
    grab = strike("grab", 12, level="throw", total=45, tags=frozenset({"grip"}))
    kick = strike("kick", 12, level="low", total=45)
    pack = pack_of([JAB, PARRY], [quick, grab, kick])
    given: dict[str, Any] = {"moves": ["quick", "grab", "kick"], "when": ["during"]}
    even = rows(answered(pack, **given))
    assert (even["crouch"].share, even["brace"].share) == (pytest.approx(2 / 3, abs=1e-3),) * 2
    kicks, throws = (answered(pack, **given, shares=s) for s in ([3, 1, 6], [2, 7, 1]))
    assert (rows(kicks)["crouch"].share, rows(kicks)["brace"].share) == (0.4, 0.9)
    assert (rows(throws)["crouch"].share, rows(throws)["brace"].share) == (0.9, 0.3)
    assert {c.against: c.share for c in rows(kicks)["crouch"].cells} == {"quick": 0.3, "grab": 0.1, "kick": 0.6}
    # It is ranked by that: what covers two of three options comes first only where it covers most of what they do.
    for answer in (kicks, throws):
        assert [row.share for row in answer.rows] == sorted((row.share for row in answer.rows), reverse=True)
        assert answer.rows[0].share == 0.9
        assert "90% of the habit" in answer.summary
    same = answered(pack, **given, shares=[30, 10, 60])
    assert [r.share for r in same.rows] == [r.share for r in kicks.rows]


def test_the_delay_is_that_which_beats_most_of_the_habit() -> None:
    """The parry is active on d + 2 to d + 10: one delay cannot take a hand on 12 and one on 40."""
    pack = pack_of([PARRY], [strike("soon", 12), strike("late", 40, total=60)])
    given: dict[str, Any] = {"moves": ["soon", "late"], "when": ["during"]}
    for shares, delay in (([2, 1], 2), ([1, 2], 30)):
        row = rows(answered(pack, **given, shares=shares))["brace"]
        assert (row.delay, row.covers, row.window) == (delay, 1, 9)
        assert row.share == pytest.approx(2 / 3, abs=1e-3)


def test_a_move_named_twice_is_done_as_often_as_both_say() -> None:
    pack = pack_of([JAB], [strike("knee", 14), strike("grab", 12, level="throw")])
    twice = answered(pack, moves=["knee", "grab", "knee"], shares=[1, 2, 1], when=["after_block"])
    assert rows(twice)["jab"].share == 0.5
    once = answered(pack, moves=["knee", "grab", "knee"], when=["after_block"])
    assert rows(once)["jab"].share == 0.5
    assert [row.share for row in answered(pack, string=["knee"], when=["after_block"]).rows] == [1.0]


@pytest.mark.parametrize(
    ("levels", "lands"), [(("high",), False), (("mid",), True), (("low",), True), (("high", "low"), True)]
)
def test_a_punish_after_a_miss_has_to_hit_the_body_that_it_leaves(levels: tuple[str, ...], lands: bool) -> None:
    """The knee goes by a sidestep; its user crouches from frame 16 to the end, where a high does not hit."""
    low = {"crouching": (Span(16, 61),)}
    knee = strike("knee", 14, total=60, tracks=frozenset(), body=low)
    mine = [strike(f"poke_{level}", 10, level=level, reach=3.0, total=40) for level in levels]
    row = rows(answered(pack_of(mine, [knee]), moves=["knee"]), "during")["step_left"]
    then = [one.option for one in row.cells[0].then]
    assert then == [f"poke_{level}" for level in levels if level != "high"]
    assert (row.damage == 10.0) == lands


def test_a_punish_after_a_backdash_has_to_reach_where_they_are_then() -> None:
    """It goes back 1.0 from 0.5: the jab of 1.5 just reaches, one of 1.4 does not."""
    for reach, lands in ((1.5, True), (1.4, False)):
        mine = [strike("jab", 10, reach=reach)]
        found = answered(pack_of(mine, [strike("knee", 14, reach=1.3, total=60)]), moves=["knee"], distance=0.5)
        cell = rows(found, "during")["backdash"].cells[0]
        assert [one.option for one in cell.then] == (["jab"] if lands else [])


def test_the_roster_answers_when_nobody_is_named() -> None:
    third = Character(id="cleo", name="Cleo", moves={"jab": changed(JAB, first_active=9, active_stop=11)})
    found = answered(pack_of([JAB], [strike("knee", 14, on_block=-9)], third), moves=["knee"], me=None)
    assert [(row.character, row.option) for row in found.rows if row.when == "after_block"] == [("cleo", "jab")]
    assert {row.character for row in found.rows if row.when == "before"} == {"ada", "cleo"}


def test_without_the_advantage_on_block_the_punish_hangs_on_it() -> None:
    found = answered(pack_of([JAB], [strike("knee", 14, on_block=None)]), moves=["knee"])
    assert not rows(found, "after_block")
    assert [(m.move, m.property) for m in found.missing] == [("knee", "on_block")]
    assert "on block" in next(one.sentence for one in found.open if one.when == "after_block")


def test_an_unknown_pushback_is_what_the_punish_hangs_on() -> None:
    found = answered(pack_of([changed(JAB, reach=None)], [strike("knee", 14, pushback_block=None)]), moves=["knee"])
    row = rows(found, "after_block")["jab"]
    assert row.verdict == "unknown"
    assert [(m.move, m.property) for m in row.cells[0].hangs_on] == [("jab", "reach"), ("knee", "pushback")]


@pytest.mark.parametrize(
    ("request_", "code", "pointer"),
    [
        ({}, "value-invalid", "/moves"),
        ({"moves": ["knee"], "string": ["knee"]}, "question-ambiguous", "/moves"),
        ({"moves": ["knee"], "shares": [1, 2]}, "question-impossible", "/shares"),
        ({"moves": ["knee", "one"], "shares": [0, 0]}, "question-impossible", "/shares"),
        ({"string": ["knee"], "shares": [1]}, "question-impossible", "/shares"),
        ({"moves": ["knee", "kne"]}, "option-unknown", "/moves/1"),
        ({"moves": ["knee"], "me": {"character": "adda"}}, "character-unknown", "/me/character"),
        ({"moves": ["knee"], "them": {"character": "bran"}}, "character-unknown", "/them/character"),
        ({"moves": ["knee"], "distance": "neer"}, "distance-unknown", "/distance"),
        ({"string": ["knee", "one"]}, "question-impossible", "/string/1"),
        ({"string": ["one", "guard"]}, "question-impossible", "/string/1"),
    ],
)
def test_what_is_wrong_is_named_with_its_place(request_: dict[str, Any], code: str, pointer: str) -> None:
    pack = pack_of([JAB], [strike("knee", 14), *string(16)])
    with pytest.raises(AdvisorError) as caught:
        answered(pack, **request_)
    assert (caught.value.code, caught.value.pointer) == (code, pointer)
    assert caught.value.help


def test_the_nearest_named_distance_is_assumed_and_said() -> None:
    found = answered(pack_of([JAB], [strike("knee", 14)]), moves=["knee"])
    assert found.distance == 0.0 and any("No distance was given" in c for c in found.cautions)
    assert not any("No distance" in c for c in answered(pack_of([JAB], [JAB]), moves=["jab"], distance=0).cautions)


def test_only_the_moments_asked_for() -> None:
    found = answered(pack_of([JAB], [strike("knee", 14)]), moves=["knee"], when=["after_block"])
    assert set(found.found) == {"after_block"} == {row.when for row in found.rows}


def test_a_movement_of_theirs_is_a_target_too() -> None:
    found = answered(pack_of([JAB, move("pause", total=5)], [JAB]), moves=["jump"])
    assert rows(found)["jab"].verdict == "beats"
    assert found.targets[0].sentence == "Jump does not attack."
    assert msgspec.json.encode(found)
