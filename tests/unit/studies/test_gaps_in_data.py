"""The next lab list: counts worked by hand, and measuring what it asks for decides what it promised."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from advisor.errors import AdvisorError
from advisor.facts.question import Fighter
from advisor.pack.model import Pack
from advisor.studies.gaps_in_data import LabItem, LabList, LabListAnswer, lab_list
from advisor.units import to_micro
from tests.unit.advice.demo import shelf
from tests.unit.studies.slipway import changed, pack_of, strike

JAB = strike("jab", 10, reach=1.5)
HOOK = strike("hook", 12, reach=None)


def listed(pack: Pack, **request: Any) -> LabListAnswer:
    at_hand = shelf()
    return lab_list(pack, at_hand.rules, at_hand.evaluator, msgspec.convert(request, LabList))


def named(answer: LabListAnswer) -> dict[tuple[str, str, str], LabItem]:
    return {(i.character, i.move, i.property): i for i in answer.items}


ADA = {"character": "ada"}
BRAM = {"character": "bram"}


def test_only_punishes_that_are_fast_enough_hang_on_the_reach() -> None:
    knees = [strike(f"knee_{k}", 14, on_block=-k) for k in (10, 11, 12, 13, 15)]
    found = listed(pack_of([JAB, HOOK], knees), me=ADA, them=BRAM)
    item = named(found)["ada", "hook", "reach"]
    assert (item.answers, item.alone, item.value) == (3, 3, 3.0)
    assert (found.answers, found.undecided, found.properties) == (10, 3, 1)
    assert item.examples[0] == "Hook against Guard after Knee 12"


def test_without_the_advantage_every_attack_hangs_on_it() -> None:
    found = listed(pack_of([JAB, HOOK], [strike("knee", 14, on_block=None)]), me=ADA)
    assert named(found)["bram", "knee", "on_block"].answers == 2


def test_an_answer_on_two_properties_counts_half_for_each() -> None:
    knee = strike("knee", 14, on_block=-12, pushback_block=None)
    found = named(listed(pack_of([JAB, HOOK], [knee]), me=ADA, them=BRAM))
    push, reach = found["bram", "knee", "pushback"], found["ada", "hook", "reach"]
    assert (push.answers, push.alone, push.value) == (2, 1, 1.5)
    assert (reach.answers, reach.alone, reach.value) == (1, 0, 0.5)
    assert next(iter(found)) == ("bram", "knee", "pushback")


def test_a_situation_counts_what_advice_counts() -> None:
    at_hand = shelf()
    question = {
        "me": {"character": "ketterby"}, "them": {"character": "marl"}, "distance": "touching",
        "moment": {"kind": "blocked", "attacker": "them", "move": "round_shovel"},
    }
    found = listed(at_hand.pack, question=question)
    assert ("ketterby", "cuff", "reach") in named(found)
    assert [i.value for i in found.items] == sorted((i.value for i in found.items), reverse=True)
    assert all(i.alone <= i.value <= i.answers for i in found.items)


def filled(pack: Pack, item: LabItem, value: int) -> Pack:
    """The pack with one property measured."""
    name = {"reach": "reach", "pushback": "pushback_block"}[item.property]
    owner = pack.characters[item.character]
    known = changed(owner.moves[item.move], **{name: value})
    moves = {**owner.moves, item.move: known}
    return msgspec.structs.replace(
        pack, characters={**pack.characters, owner.id: msgspec.structs.replace(owner, moves=moves)}
    )


@pytest.mark.parametrize("measured", [0.1, 0.6, 5.0])
def test_measuring_what_comes_first_decides_what_it_promised(measured: float) -> None:
    at_hand = shelf()
    for me in at_hand.pack.characters:
        request = LabList(me=Fighter(character=me), distance="touching", limit=400)
        before = lab_list(at_hand.pack, at_hand.rules, at_hand.evaluator, request)
        for item in before.items[:3]:
            if item.property not in ("reach", "pushback"):
                continue
            after = lab_list(
                filled(at_hand.pack, item, to_micro(measured)), at_hand.rules, at_hand.evaluator, request
            )
            assert before.undecided - after.undecided >= item.alone
            assert (item.character, item.move, item.property) not in named(after)


def test_nothing_hangs_where_everything_is_known() -> None:
    found = listed(pack_of([JAB], [strike("knee", 14, on_block=-12)]), me=ADA)
    assert found.items == [] and found.undecided == 0 and found.complete


@pytest.mark.parametrize(
    ("request_", "code", "pointer"),
    [
        ({}, "value-invalid", "/me"),
        (
            {"me": ADA, "question": {"me": ADA, "them": BRAM, "moment": {"kind": "neutral"}}},
            "question-ambiguous", "/me",
        ),
        ({"me": {"character": "eda"}}, "character-unknown", "/me/character"),
        (
            {"question": {"me": ADA, "them": {"character": "bran"}, "moment": {"kind": "neutral"}}},
            "character-unknown", "/question/them/character",
        ),
        (
            {"question": {"me": ADA, "them": BRAM, "moment": {"kind": "neutral"}, "pack": "other"}},
            "question-impossible", "/question/pack",
        ),
    ],
)
def test_what_is_wrong_is_named_with_its_place(request_: dict[str, Any], code: str, pointer: str) -> None:
    with pytest.raises(AdvisorError) as failed:
        listed(pack_of([JAB], [JAB]), **request_)
    assert (failed.value.code, failed.value.pointer) == (code, pointer)
    assert failed.value.help
