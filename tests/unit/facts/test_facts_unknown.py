"""Absent is never zero, never none, and never too slow: single cases on the demo pack."""

from __future__ import annotations

from typing import Any

import msgspec

from advisor.advice import Advice, advise
from advisor.facts import Question
from advisor.facts.question import Blocked, CounterHit, Fighter, Neutral, Whiffed
from advisor.pack.model import Pack
from tests.unit.advice.demo import shelf


def answered(pack: Pack, question: Question) -> Advice:
    at_hand = shelf()
    return advise(pack, at_hand.rules, at_hand.evaluator, question)


def without(owner: str | None, move: str, *, hit: tuple[str, ...] = (), own: tuple[str, ...] = ()) -> Pack:
    """The demo pack with properties of one move unknown; an owner of None is the system."""
    pack = shelf().pack
    moves = dict(pack.system if owner is None else pack.characters[owner].moves)
    known = moves[move]
    hits = tuple(msgspec.structs.replace(h, **dict.fromkeys(hit)) for h in known.hits)
    moves[move] = msgspec.structs.replace(known, hits=hits, **dict.fromkeys(own))
    if owner is None:
        return msgspec.structs.replace(pack, system=moves)
    character = msgspec.structs.replace(pack.characters[owner], moves=moves)
    return msgspec.structs.replace(pack, characters={**pack.characters, owner: character})


def asked(me: str, them: str, moment: Any, mine: str, theirs: str, distance: float | None) -> Question:
    return Question(
        me=Fighter(character=me), them=Fighter(character=them), moment=moment, distance=distance,
        responses=[mine], replies=[theirs],
    )  # fmt: skip


def verdict(pack: Pack, question: Question) -> str:
    return answered(pack, question).responses[0].against[0].verdict


def test_an_unknown_pushback_leaves_the_distance_unknown() -> None:
    """Also where the move is known to leave them somewhat further off: its push comes on top."""
    question = asked("ketterby", "marl", CounterHit(attacker="them", move="hot_palm"), "butt_tap", "guard", 1.2)
    known = answered(shelf().pack, question)
    leaves = shelf().pack.characters["marl"].moves["hot_palm"].hits[0].leaves_counter_hit
    assert leaves is not None
    assert leaves.distance
    assert known.situation.distance is not None
    unknown = answered(without("marl", "hot_palm", hit=("pushback_hit",)), question)
    assert unknown.situation.distance is None
    assert any("pushback" in caution for caution in unknown.cautions)


def test_an_unknown_duration_is_no_leave_to_whiff() -> None:
    """Known, my rake under a jump is so long that it is punished; unknown, that cannot have become harmless."""
    question = asked("ketterby", "ilko", Blocked(attacker="me", move="vine_loop"), "under_rake", "jump", 0.8)
    assert verdict(shelf().pack, question) == "loses"
    assert verdict(without("ketterby", "under_rake", own=("total",)), question) in ("loses", "unknown")
    assert verdict(without(None, "jump", own=("total",)), question) in ("loses", "unknown")


def test_an_attack_of_unknown_first_frame_may_be_fast_enough() -> None:
    """With its first active frame known the answer hangs on its reach; without, it hangs on both."""
    question = asked("marl", "ilko", Neutral(), "sidestep_right", "wax_shin", 2.6)
    assert verdict(shelf().pack, question) == "unknown"
    assert [(m.move, m.property) for m in answered(shelf().pack, question).missing] == [("side_clog", "reach")]
    assert verdict(without("marl", "side_clog", hit=("first_active",)), question) == "unknown"


def test_a_verdict_that_may_be_overruled_is_not_given() -> None:
    """Whether the more cautious rule speaks hangs on the blank, so the kinder one must not decide alone."""
    question = asked("ilko", "ilko", Whiffed(attacker="them", move="smoke_low"), "frame_slap_three", "drone_back", 1.8)
    full = verdict(shelf().pack, question)
    blank = verdict(without("ilko", "frame_slap_three", hit=("first_active",)), question)
    assert blank in (full, "unknown")


def test_unknown_chip_and_advantage_stay_unknown() -> None:
    question = asked("ilko", "marl", Blocked(attacker="them", move="soot_jab"), "sting", "guard", 0.4)
    known = answered(shelf().pack, question).responses[0].against[0]
    assert (known.effect, known.dealt, known.leaves.advantage) == ("blocked", 0, 1)
    pack = without("ilko", "sting", hit=("chip", "on_block"))
    unknown = answered(pack, question).responses[0].against[0]
    assert (unknown.effect, unknown.dealt, unknown.leaves.advantage) == ("blocked", None, None)
    assert unknown.verdict == "unknown"
    assert any(m.property == "on_block" for m in answered(pack, question).responses[0].hangs_on)


def test_an_unknown_advantage_of_the_moment_decides_nothing() -> None:
    question = asked("ilko", "marl", Blocked(attacker="them", move="shovel_rise"), "sting", "guard", 0.4)
    assert verdict(shelf().pack, question) == "guaranteed"
    advice = answered(without("marl", "shovel_rise", hit=("on_block",)), question)
    assert advice.situation.advantage is None
    assert advice.responses[0].verdict == "unknown"
    assert [(m.move, m.property) for m in advice.missing] == [("shovel_rise", "on_block")]
