"""What of mine loses: worked by hand on a small pack (common practice, no published source)."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from advisor.errors import AdvisorError
from advisor.pack.model import Character, Pack
from advisor.studies.exposed import Exposed, ExposedAnswer, exposed
from advisor.units import Span, to_micro
from tests.oracle.frame_walk import Body, walk
from tests.unit.advice.demo import shelf
from tests.unit.studies.slipway import PARRY, changed, pack_of, strike

JAB = strike("jab", 10, reach=1.5, damage=8.0)
HOOK = strike("hook", 12, reach=0.6, damage=25.0)


def lost(pack: Pack, **request: Any) -> ExposedAnswer:
    at_hand = shelf()
    given = {"me": {"character": "ada"}, "them": {"character": "bram"}, **request}
    return exposed(pack, at_hand.rules, at_hand.evaluator, msgspec.convert(given, Exposed))


@pytest.mark.parametrize(
    ("on_block", "by"), [(-9, []), (-10, ["jab"]), (-11, ["jab"]), (-12, ["hook", "jab"]), (4, []), (0, [])]
)
def test_who_is_fast_enough_punishes(on_block: int, by: list[str]) -> None:
    answer = lost(pack_of([strike("knee", 14, on_block=on_block)], [JAB, HOOK]))
    assert [p.option for row in answer.moves for p in row.by] == by
    assert answer.counts == {"punishable": bool(by), "unknown": 0, "safe": not by}
    for punisher in (p for row in answer.moves for p in row.by):
        assert punisher.verdict == "loses"
        assert punisher.held_until == -on_block
        assert punisher.sentence.startswith(f"{punisher.name} lands on frame {punisher.frame}")


def test_pushback_and_the_distance_up_to_which_it_reaches() -> None:
    knee = strike("knee", 14, on_block=-15, pushback_block=to_micro(0.5))
    near, far = (lost(pack_of([knee], [JAB, HOOK]), distance=d) for d in (0.1, 0.2))
    assert {p.option: p.works_to for p in near.moves[0].by} == {
        "hook": pytest.approx(0.1), "jab": pytest.approx(1.0),
    }
    assert [p.option for p in far.moves[0].by] == ["jab"]


def test_a_throw_that_can_be_broken_is_no_punish() -> None:
    # This pack lets throws be broken while free or guarding only, so in recovery they are true punishes.
    grab = strike("grab", 12, level="throw", breaks=frozenset({"push"}), damage=40.0)
    pack = pack_of([strike("knee", 14, on_block=-12)], [grab])
    assert [p.option for p in lost(pack).moves[0].by] == ["grab"]
    broken = msgspec.structs.replace(pack.conventions, breakable_in=frozenset({"recovery"}))
    assert lost(msgspec.structs.replace(pack, conventions=broken)).moves == []


def test_what_no_guard_stops_cannot_be_punished_after_a_block() -> None:
    assert lost(pack_of([strike("grab", 12, level="throw", on_block=-20)], [JAB])).counts["safe"] == 1


def test_after_a_miss_recovery_and_reach_decide() -> None:
    knee = strike("knee", 14, reach=1.0, total=40)
    row = lost(pack_of([knee], [JAB, HOOK]), when="after_whiff").moves[0]
    # Active on 14 and 15 of 40: 25 frames; the hook does not reach beyond the knee.
    assert row.advantage == -25
    assert [(p.option, p.works_to) for p in row.by] == [("jab", pytest.approx(1.5))]


def test_the_roster_is_counted_and_the_best_of_each_listed() -> None:
    cleo = Character(id="cleo", name="Cleo", moves={"slow": strike("slow", 30)})
    answer = lost(pack_of([strike("knee", 14, on_block=-12)], [JAB, HOOK], cleo), them=None)
    row = answer.moves[0]
    assert (row.punishers, row.of, row.worst) == (1, 3, 25.0)
    assert [(p.them, p.option) for p in row.by] == [("bram", "hook")]


def test_the_unknown_is_counted_and_named() -> None:
    lead = lost(pack_of([strike("knee", 14, on_block=None)], [JAB]))
    assert lead.counts == {"punishable": 0, "unknown": 1, "safe": 0}
    assert [(m.move, m.property) for m in lead.moves[0].hangs_on] == [("knee", "on_block")]
    reach = lost(pack_of([strike("knee", 14, on_block=-10)], [changed(JAB, reach=None)]))
    assert [(m.move, m.property) for m in reach.missing] == [("jab", "reach")]
    assert reach.moves[0].unknown == 1 and reach.moves[0].by == []


def test_what_loses_to_an_option_of_theirs() -> None:
    mine = [strike("quick", 13), strike("even", 14), strike("slow", 15)]
    answer = lost(pack_of(mine, [strike("knee", 14, damage=17.0)]), option="knee")
    found = {row.option: row for row in answer.lost}
    assert found["slow"].verdict == "loses" and found["slow"].taken == 17.0
    assert found["even"].verdict == "trades"
    assert "quick" not in found and "guard" not in found
    assert answer.counts["holds"] >= 1
    assert found["slow"].sentence == "Knee lands on frame 14, counter hit. Only if they start at once."
    at_once = lost(pack_of(mine, [strike("knee", 14)]), option="knee", delays=0)
    assert at_once.counts["beats"] >= 1
    assert {row.sentence for row in at_once.lost if row.option == "slow"} == {"Knee lands on frame 14, counter hit."}
    only = lost(pack_of(mine, [strike("knee", 14)]), option="knee", moves=["slow", "even"])
    assert [row.option for row in only.lost] == ["slow", "even"]


@pytest.mark.parametrize(
    ("first", "loses", "trades"), [(13, [], []), (14, [], [0]), (15, [0], [1]), (18, [0, 1, 2, 3], [4])]
)
def test_a_frame_later_of_theirs_is_a_frame_more_for_me(first: int, loses: list[int], trades: list[int]) -> None:
    """By hand: a strike of frame F lands on F, their knee of 14 begun d late on 14 + d; then it finds them guarding."""
    answer = lost(pack_of([strike("poke", first)], [strike("knee", 14)]), option="knee", moves=["poke"], delays=30)
    found = {(w.verdict, d) for row in answer.lost for w in row.windows for d in range(w.first, w.last + 1)}
    assert sorted(d for word, d in found if word == "loses") == loses
    assert sorted(d for word, d in found if word == "trades") == trades
    if loses:
        row = answer.lost[0]
        assert (row.at_once, row.verdict, row.width) == ("loses", "loses", len(loses))
        assert [(r.first, r.last) for r in row.delays] == [(loses[0], loses[-1])]
    elif trades:
        assert answer.lost[0].verdict == "trades"
    else:
        assert answer.lost == []


def test_a_miss_of_mine_is_punished_by_who_waits() -> None:
    """At 1.2 the swing of 1.0 (frame 16 of 40) misses, their knee of 14 reaches: it lands whenever it comes in time."""
    swing = strike("swing", 16, total=40)
    pack = pack_of([swing], [strike("knee", 14, reach=1.5)])
    answer = lost(pack, option="knee", moves=["swing"], distance=1.2)
    row = answer.lost[0]
    # Begun d late the knee lands on 14 + d; the swing is over with frame 40, and who stands then is guarding.
    assert [(r.first, r.last) for r in row.delays] == [(0, 26)]
    assert row.sentence.endswith("That is so when they start 0-26 frames late.")
    assert answer.summary.startswith("1 of 1 options of yours lose to it; the worst: Swing.")
    just = lost(pack, option="knee", moves=["swing"], distance=1.2, delays=9)
    assert [(r.first, r.last) for r in just.lost[0].delays] == [(0, 9)]
    assert just.lost[0].sentence.endswith("So it does however late they start.")


def test_what_loses_late_only_is_told_apart() -> None:
    """A jump goes over the grab of 12 at once; lands on its frame 28, and is thrown when that comes later."""
    grab = strike("grab", 12, level="throw", total=44)
    answer = lost(pack_of([JAB], [grab]), option="grab", moves=["jump", "crouch"])
    row = answer.lost[0]
    assert (row.option, row.verdict) == ("jump", "loses") and row.at_once != "loses"
    # Active on 12 + d and 13 + d; the jump is in the air on its frames 5 to 27 and over after 30.
    assert row.delays[0].first == 15
    assert answer.summary.startswith("1 of 2 options of yours lose to it (0 when it starts at once)")


def test_every_delay_of_theirs_ends_as_in_the_walk() -> None:
    """The frame-by-frame simulator of the tests on each delay, for every option of mine that is listed."""
    body = {"crouching": (Span(3, 20),)}
    mine = [strike("high", 15, level="high"), strike("duck", 20, body=body, level="low"), strike("far", 25, reach=0.2)]
    pack = pack_of([*mine, PARRY], [strike("knee", 8, reach=1.5, level="high", total=27)])
    answer = lost(pack, option="knee", distance=0.5, limit=100)
    known = {**pack.system, **pack.characters["ada"].moves}
    seen = set()
    for row in answer.lost:
        for window in row.windows:
            for delay in range(window.first, window.last + 1):
                late = Body(pack.characters["bram"].moves["knee"], delay=delay)
                true = walk(pack.conventions, Body(known[row.option]), late, to_micro(0.5))
                assert (window.by, window.effect) == (true.by, true.effect), f"{row.option} at {delay}"
                seen.add(true.effect)
    assert {row.option for row in answer.lost} >= {"duck", "far", "brace"}
    assert {"hit", "counter_hit", "parried"} <= seen


@pytest.mark.parametrize(
    ("request_", "code", "pointer"),
    [
        ({"them": None, "option": "jab"}, "question-impossible", "/them"),
        ({"option": "jabb"}, "option-unknown", "/option"),
        ({"option": "jab", "moves": ["jab"]}, "option-unknown", "/moves/0"),
        ({"moves": ["knee", "guard"]}, "question-impossible", "/moves/1"),
        ({"me": {"character": "eda"}}, "character-unknown", "/me/character"),
    ],
)
def test_what_is_wrong_is_named_with_its_place(request_: dict[str, Any], code: str, pointer: str) -> None:
    with pytest.raises(AdvisorError) as failed:
        lost(pack_of([strike("knee", 14)], [JAB]), **request_)
    assert (failed.value.code, failed.value.pointer) == (code, pointer)
