"""What of mine loses: worked by hand on a small pack (common practice, no published source)."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from advisor.errors import AdvisorError
from advisor.pack.model import Character, Pack
from advisor.studies.exposed import Exposed, ExposedAnswer, exposed
from advisor.units import to_micro
from tests.unit.advice.demo import shelf
from tests.unit.studies.slipway import changed, pack_of, strike

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
    assert answer.counts["beats"] >= 1
    assert found["slow"].sentence == "Knee lands on frame 14, counter hit."
    only = lost(pack_of(mine, [strike("knee", 14)]), option="knee", moves=["slow", "even"])
    assert [row.option for row in only.lost] == ["slow", "even"]


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
