"""The study ``setups``: what can be done by hand, what is refused, and sweeps of the demo pack."""

from __future__ import annotations

from itertools import cycle
from pathlib import Path
from typing import Any

import msgspec
import pytest

from advisor.errors import AdvisorError
from advisor.library import Shelf
from advisor.studies.setups import STUDY, Setup, Setups, SetupsRequest, setups
from tests.unit.advice.demo import shelf
from tests.unit.studies.quay import quay
from tests.worked.asked import EVALUATORS


def ask(on: Shelf, **given: Any) -> Setups:
    body: dict[str, Any] = {
        "me": {"character": "hesk"}, "them": {"character": "torrow"}, "distance": 0.5,
        "moment": {"kind": "knockdown", "floored": "them", "state": "face_up", "frames": 20},
        "last": ["quick_tap"], "actions": ["shuffle"], "replies": ["rise"], "limit": 400, **given,
    }
    body = {key: value for key, value in body.items() if value is not None}
    return setups(on.pack, on.rules, on.evaluator, msgspec.convert(body, SetupsRequest))


def by_actions(answer: Setups) -> dict[tuple[str, ...], Setup]:
    return {tuple(setup.actions): setup for setup in answer.setups}


def test_two_steps_of_ten_frames_bring_the_tap_to_the_frame_on_which_they_stand() -> None:
    """By hand: they stand on frames 31 to 40; a tap active on its frames 10 and 11 gets there from 20 to 30 used."""
    answer = ask(quay(), length=4)
    assert set(by_actions(answer)) == {("shuffle",) * 2 + ("quick_tap",), ("shuffle",) * 3 + ("quick_tap",)}
    two, three = answer.setups
    assert (two.used, three.used) == (20, 30)
    assert two.window == three.window == (20, 30)
    assert two.width == three.width == 11
    assert (two.covered, two.of, two.damage, two.touches_from) == (1, 1, 8.0, 30)
    assert (two.against[0].frame, three.against[0].frame) == (31, 40)
    assert two.against[0].sentence == "Rise does not stop Quick Tap, which lands on frame 11."
    assert answer.by_coverage == {"1": 2}
    assert answer.found == 2 and answer.complete


def test_a_shorter_bound_on_the_length_finds_fewer() -> None:
    assert set(by_actions(ask(quay(), length=3))) == {("shuffle",) * 2 + ("quick_tap",)}
    assert not ask(quay(), length=2).setups


def test_a_whiffed_move_uses_up_its_duration() -> None:
    answer = by_actions(ask(quay(), actions=["quick_tap"], length=2))
    assert answer[("quick_tap", "quick_tap")].used == 26


def test_a_low_that_finds_them_on_the_floor_uses_up_nothing() -> None:
    """The rope lies active on frames 12 and 13, and they lie there until frame 20 at the least."""
    assert not ask(quay(), actions=["ankle_rope"], length=2).setups
    # At 1.3 it does not reach them, so it is a whiffed move like any other: after its 33 frames the hook is
    # active on frame 47, and the roll stands on frames 31 to 50.
    far = by_actions(ask(quay(), actions=["ankle_rope"], length=2, distance=1.3, last=["long_hook"], replies=["roll"]))
    assert list(far) == [("ankle_rope", "long_hook")]
    assert far["ankle_rope", "long_hook"].against[0].frame == 47


def test_a_roll_away_has_to_be_followed() -> None:
    """At 0.5 the roll ends 1.5 away, past the tap (1.2); after a stride of 0.4 it is 1.1 away."""
    answer = by_actions(ask(quay(), actions=["shuffle", "stride"], replies=["roll"], length=3))
    assert ("shuffle", "shuffle", "quick_tap") not in answer
    assert answer[("shuffle", "stride", "quick_tap")].distance == pytest.approx(0.1)
    both = by_actions(ask(quay(), actions=["shuffle", "stride"], replies=None, length=3))
    assert both[("stride", "stride", "quick_tap")].covered == 2
    assert both[("shuffle", "shuffle", "quick_tap")].covered == 1
    assert ask(quay(), actions=["shuffle", "stride"], replies=None, length=3).setups[0].covered == 2


def test_what_hits_on_the_ground_counts_only_when_asked_for() -> None:
    asked = {"last": ["ankle_rope"], "length": 1}
    assert not ask(quay(), **asked).setups
    found = ask(quay(), **asked, ground=True).setups
    assert [(s.actions, s.against[0].verdict) for s in found] == [(["ankle_rope"], "guaranteed")]


def test_what_counts_as_covered_is_decided_by_rules(tmp_path: Path) -> None:
    rule = tmp_path / "house" / "rise.yaml"
    rule.parent.mkdir()
    rule.write_text(
        "id: house/rise\ntitle: Nobody is hit when rising\nscope: exchange\nstatus: stable\nwhy: House rule.\n"
        "when:\n  - {fact: theirs.option, is: rise}\nconclude: {verdict: holds}\n"
        "because: \"{theirs.name} is spared.\"\n",
        encoding="utf-8",
    )
    assert ask(quay()).setups
    answer = ask(quay(rules=tmp_path))
    assert answer.by_coverage == {"1": 1} and not answer.setups


def test_both_evaluators_agree() -> None:
    given = {"length": 4, "replies": None, "actions": None, "last": None}
    found = [ask(quay(engine), **given).setups for engine in EVALUATORS]
    assert found[0] and all(each == found[0] for each in found)


def test_an_unknown_distance_is_said_and_not_guessed() -> None:
    answer = ask(quay(), distance=None)
    assert not answer.setups
    assert [m.property for m in answer.missing] == ["distance"]
    assert answer.summary == "Unknown: it hangs on distance"


def lies(floored: str, state: str, frames: int) -> dict[str, Any]:
    return {"kind": "knockdown", "floored": floored, "state": state, "frames": frames}


def hit_by(attacker: str, move: str) -> dict[str, Any]:
    return {"kind": "hit", "attacker": attacker, "move": move}


@pytest.mark.parametrize(
    ("given", "code", "pointer"),
    [
        ({"moment": lies("me", "face_up", 5)}, "question-impossible", "/moment/floored"),
        ({"moment": hit_by("them", "ten_punch")}, "question-impossible", "/moment/attacker"),
        ({"moment": hit_by("me", "quick_tap")}, "question-impossible", "/moment/move"),
        ({"moment": lies("them", "face_up", -1)}, "question-impossible", "/moment/frames"),
        ({"moment": lies("them", "face_upp", 5)}, "knockdown-unknown", "/moment/state"),
        ({"last": ["quick_tapp"]}, "option-unknown", "/last/0"),
        ({"last": ["shuffle"]}, "question-impossible", "/last/0"),
        ({"actions": ["shuffle", "shufle"]}, "option-unknown", "/actions/1"),
        ({"replies": ["risee"]}, "option-unknown", "/replies/0"),
        ({"them": {"character": "torow"}}, "character-unknown", "/them/character"),
    ],
)
def test_refusals(given: dict[str, Any], code: str, pointer: str) -> None:
    with pytest.raises(AdvisorError) as caught:
        ask(quay(), **given)
    assert (caught.value.code, caught.value.pointer) == (code, pointer)
    assert caught.value.help


def test_the_example_of_the_study_is_answered() -> None:
    demo = shelf()
    answer = setups(demo.pack, demo.rules, demo.evaluator, msgspec.convert(STUDY.example, SetupsRequest))
    assert answer.setups and answer.complete
    assert len(answer.summary) <= 90


def test_sweep_of_the_demo_pack() -> None:
    """Every state, all pairs of fighters taken in turn: the figures of each sequence hang together."""
    demo = shelf()
    fighters = cycle(list(demo.pack.characters))
    listed = 0
    for frames, state in zip(cycle((0, 12, 30, 47)), [*demo.pack.conventions.knockdowns] * 3, strict=False):
        me, them = next(fighters), next(fighters)
        next(fighters)
        answer = ask(
            demo, me={"character": me}, them={"character": them}, distance="close", length=3, limit=15, each=2,
            last=None, actions=None, replies=None,
            moment={"kind": "knockdown", "floored": "them", "state": state, "frames": frames},
        )
        known = {**demo.pack.system, **demo.pack.characters[me].moves}
        order = [(-s.covered, -s.width) for s in answer.setups]
        assert order == sorted(order)
        for setup in answer.setups:
            listed += 1
            assert setup.used == sum(known[key].total or 0 for key in setup.actions[:-1])
            assert setup.window[0] <= setup.used <= setup.window[1]
            assert setup.width == setup.window[1] - setup.window[0] + 1
            assert setup.covered == sum(met.covered for met in setup.against) >= 1
            for met in setup.against:
                assert met.sentence
                assert not met.covered or (met.frame is not None and met.frame > max(frames, setup.used))
    assert listed > 60
