"""The study ``baits``: the trade's worked checks, the look of a move, refusals, and the frames by walking.

The arithmetic of the worked checks: domain, section 10 (common practice, no published source).
"""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from advisor.errors import AdvisorError
from advisor.library import Shelf
from advisor.studies.baits import STUDY, Bait, Baits, BaitsRequest, baits, looks_like, usual_blockstun
from tests.oracle.frame_walk import Body, walk
from tests.unit.advice.demo import shelf
from tests.worked.asked import EVALUATORS, shelf_of


def ask(on: Shelf, **given: Any) -> Baits:
    body = {
        "me": {"character": "hesk"}, "them": {"character": "torrow"}, "distance": 0.5, "limit": 400, **given,
    }
    return baits(on.pack, on.rules, on.evaluator, msgspec.convert(body, BaitsRequest))


def one(move: str, *replies: str, **given: Any) -> Bait | None:
    found = ask(shelf_of("plain"), moves=[move], answers=["still_water"], replies=list(replies), **given).baits
    assert len(found) <= 1
    return found[0] if found else None


@pytest.mark.parametrize(
    ("move", "last"), [("lost_eight", 18), ("lost_seven", 17), ("lost_six", 16), ("mooring_hop", 18)]
)
def test_the_parry_catches_the_punch(move: str, last: int) -> None:
    bait = one(move, "ten_punch")
    assert bait is not None
    tried = bait.tries[0]
    assert tried.caught and tried.frames is not None and tried.delays is not None
    assert (tried.frame, tried.frames.first, tried.frames.last) == (10, 10, last)
    # The parry covers 8 + 2 to 8 + 10 after -8, so none of the start can be given away; after -6, two frames.
    assert tried.delays.last == 18 - last
    assert tried.sentence.endswith("Ten Punch arrives on frame 10 and runs into Still Water.")
    assert bait.damage == 25.0


def test_after_nine_the_punch_lands_first() -> None:
    assert one("lost_nine", "ten_punch") is None
    both = one("lost_nine", "ten_punch", "one_two")
    assert both is not None
    assert [tried.caught for tried in both.tries] == [False, True]
    assert both.loses_to == ["Ten Punch"] and (both.caught, both.of) == (1, 2)
    assert both.tries[0].frames is None


@pytest.mark.parametrize("reply", ["ten_elbow", "ten_boathook", "ten_charge"])
def test_tags_decide_what_is_caught(reply: str) -> None:
    assert one("lost_eight", reply) is None


def test_an_unblockable_hand_strike_is_caught_as_well() -> None:
    bait = one("lost_eight", "ten_flood")
    assert bait is not None and bait.caught == 1


def test_the_hop_looks_like_ten_and_is_eight() -> None:
    answer = ask(shelf_of("plain"))
    assert answer.usual_blockstun == 17
    best = answer.baits[0]
    assert (best.move, best.advantage, best.looks, best.looks_worse_by) == ("mooring_hop", -8, -10, 2)
    assert best.airborne
    assert "leaves -8 and looks like -10" in best.sentence
    # What looks like -10 invites every 10-frame strike, and the key moves.
    assert {tried.reply for tried in best.tries} == {
        "ten_punch", "ten_elbow", "ten_boathook", "ten_charge", "ten_flood", "one_two",
    }
    level = next(b for b in answer.baits if b.move == "lost_eight")
    assert (level.looks, level.looks_worse_by, level.airborne) == (-8, 0, False)
    flat = ask(shelf_of("plain"), in_the_air=0)
    assert next(b for b in flat.baits if b.move == "mooring_hop").looks == -8


def test_the_look_of_a_move_is_its_active_and_recovery_against_the_usual_blockstun() -> None:
    moves = shelf_of("plain").pack.characters["hesk"].moves
    assert looks_like(moves["lost_ten"], 17, 2) == 17 + 1 - 2 - 26
    assert looks_like(moves["lost_ten"], 12, 2) == 12 + 1 - 2 - 26
    assert looks_like(msgspec.structs.replace(moves["lost_ten"], total=None), 17, 2) is None
    assert looks_like(moves["lost_ten"], None, 2) is None
    assert usual_blockstun(shelf().pack) == 16


def test_eager_players_try_slower_replies() -> None:
    given = {
        "me": {"character": "wenna"}, "them": {"character": "marl"}, "moves": ["ladder_hop"], "answers": ["set_pane"],
    }
    calm, eager = (ask(shelf(), **given, eager=n) for n in (0, 5))
    tried = [{t.reply for t in answer.baits[0].tries} for answer in (calm, eager)]
    assert tried[0] < tried[1]


def test_a_move_that_leaves_nothing_behind_is_no_bait() -> None:
    assert not ask(shelf_of("plain"), moves=["quick_tap"]).baits


def test_what_is_not_recorded_is_named() -> None:
    answer = ask(shelf(), me={"character": "wenna"}, them={"character": "marl"}, moves=["last_pane"])
    assert not answer.baits
    assert answer.skipped == {"last_pane": "what it leaves is not recorded"}
    assert ("last_pane", "on_block") in [(m.move, m.property) for m in answer.missing]


def test_both_evaluators_agree() -> None:
    found = [ask(shelf_of(engine)).baits for engine in EVALUATORS]
    assert found[0] and all(each == found[0] for each in found)


@pytest.mark.parametrize(
    ("given", "code", "pointer"),
    [
        ({"moves": ["lost_eigth"]}, "move-unknown", "/moves/0"),
        ({"answers": ["still_watr"]}, "option-unknown", "/answers/0"),
        ({"replies": ["ten_punch", "ten_pnch"]}, "option-unknown", "/replies/1"),
        ({"me": {"character": "hesc"}}, "character-unknown", "/me/character"),
        ({"distance": "clos"}, "distance-unknown", "/distance"),
    ],
)
def test_refusals(given: dict[str, Any], code: str, pointer: str) -> None:
    with pytest.raises(AdvisorError) as caught:
        ask(shelf_of("plain"), **given)
    assert (caught.value.code, caught.value.pointer) == (code, pointer)
    assert "did you mean" in caught.value.help


def test_the_frames_of_every_catch_by_walking() -> None:
    """Each reply started later frame by frame in the simulator of the tests: the run of catches is the one named."""
    pack = shelf_of("plain").pack
    checked = 0
    for bait in ask(shelf_of("plain"), eager=8).baits:
        parry = pack.characters["hesk"].moves[bait.answer]
        for tried in bait.tries:
            reply = pack.characters["torrow"].moves[tried.reply]
            late = 0
            while late <= 60 and _caught(pack.conventions, parry, -bait.advantage, reply, late):
                late += 1
            assert bool(late) is tried.caught
            if tried.frames is not None:
                checked += 1
                assert tried.frames.last - tried.frames.first == late - 1
    assert checked > 20


def _caught(conventions: Any, parry: Any, behind: int, reply: Any, late: int) -> bool:
    me = Body(parry, free_at=behind, held="recovery")
    found = walk(conventions, me, Body(reply, delay=late), 500_000)
    return found.by == "them" and found.effect == "parried"


def test_the_example_of_the_study_and_a_sweep() -> None:
    demo = shelf()
    assert baits(demo.pack, demo.rules, demo.evaluator, msgspec.convert(STUDY.example, BaitsRequest)).baits
    total = 0
    for me in ("wenna", "ketterby"):
        answer = ask(
            demo, me={"character": me}, them={"character": "marl"}, distance="touching", results=["blocked", "whiffed"],
            limit=10,
        )
        shares = [bait.caught / bait.of for bait in answer.baits]
        assert shares == sorted(shares, reverse=True)
        for bait in answer.baits:
            total += 1
            assert bait.advantage < 0 and 1 <= bait.caught <= bait.of
            assert bait.caught == sum(tried.caught for tried in bait.tries)
            assert all(("bait" in tried.tags) is tried.caught for tried in bait.tries)
            assert bait.result == "blocked" or bait.looks is None
    assert total == 20
