"""The replay of an exchange: worked checks on the demo pack, agreement with the exchange, unknowns, bad input."""

from __future__ import annotations

from collections import Counter
from functools import cache
from random import Random
from typing import Any

import msgspec
import pytest

from advisor.advice import advise
from advisor.errors import AdvisorError, QuestionError
from advisor.facts import Question, pair_of, ready, settle
from advisor.facts.question import (
    Advantage,
    Blocked,
    CounterHit,
    Fighter,
    HitLanded,
    KnockedDown,
    Moment,
    Neutral,
    Whiffed,
)
from advisor.pack.model import Move, Pack
from advisor.studies.replay import STUDY, Replay, replay
from advisor.studies.replay_answer import Event, ReplayAnswer, SideFrame
from advisor.timeline.exchange import meet
from tests.unit.advice.demo import shelf

PUNISH = {
    "me": {"character": "wenna"}, "them": {"character": "marl"}, "distance": "touching", "option": "putty_jab",
    "reply": "guard", "moment": {"kind": "blocked", "attacker": "them", "move": "cinder_knee"},
}  # fmt: skip
EVEN = {**PUNISH, "moment": {"kind": "neutral"}}


def asked(body: dict[str, Any], pack: Pack | None = None, **more: Any) -> ReplayAnswer:
    here = shelf()
    return replay(pack or here.pack, here.rules, here.evaluator, msgspec.convert({**body, **more}, Replay))


def of_kind(answer: ReplayAnswer, *kinds: str) -> list[Event]:
    return [event for event in answer.events if event.kind in kinds]


def phases(answer: ReplayAnswer, who: str) -> str:
    """The first letter of every phase in a row."""
    return "".join(getattr(frame, who).phase[0] for frame in answer.frames)


def changed(character: str, move: str, **changes: Any) -> Pack:
    """The demo pack with other properties of one move."""
    pack = shelf().pack
    fighter = pack.characters[character]
    other = msgspec.structs.replace(fighter.moves[move], **changes)
    return msgspec.structs.replace(
        pack, characters={**pack.characters, character: msgspec.structs.replace(
            fighter, moves={**fighter.moves, move: other})},
    )  # fmt: skip


def test_a_punish_frame_by_frame() -> None:
    """-10, a 10-frame move, 2 active frames, 14 of recovery, +8 on hit (common practice, no published source)."""
    answer = asked(PUNISH)
    move = shelf().pack.characters["wenna"].moves["putty_jab"]
    assert (move.total, move.hits[0].first_active, move.hits[0].on_hit) == (25, 10, 8)
    assert phases(answer, "me") == "s" * 9 + "a" * 2 + "r" * 14 + "f" * 9
    assert phases(answer, "them") == "r" * 10 + "h" * 23 + "f"
    assert (answer.contact.by, answer.contact.effect, answer.contact.frame, answer.contact.hit) == ("me", "hit", 10, 1)
    told = {e.frame: e.sentence for e in of_kind(answer, "acts")}
    assert told == {26: "Wenna Pallister can act again", 34: "Dessa Marl can act again"}
    assert answer.result.leaves.advantage == 34 - 26
    assert answer.result.verdict == "guaranteed"
    assert "punish/guaranteed" in [reason.rule for reason in answer.result.reasons]
    assert not answer.cut


def test_one_frame_late_is_blocked() -> None:
    answer = asked(PUNISH, delay=1)
    assert (answer.contact.effect, answer.contact.frame, answer.delayed) == ("blocked", 11, "me")
    assert answer.frames[0].me.phase == "free"
    assert answer.frames[11].them.phase == "blockstun"
    assert answer.me.begins == 2


def test_held_in_recovery_shows_the_move_that_it_recovers_from() -> None:
    answer = asked(PUNISH)
    total = shelf().pack.characters["marl"].moves["cinder_knee"].total
    assert total is not None
    assert [f.them.own for f in answer.frames[:10]] == list(range(total - 9, total + 1))
    assert all(f.them.doing == "held" for f in answer.frames[:10])


def test_the_shortfall_is_the_smallest_of_the_run() -> None:
    """At 1.8 with a reach of 1.1 nothing moves: the same 0.7 on both active frames."""
    answer = asked(EVEN, distance="mid", reply="jump")
    (event,) = of_kind(answer, "reach")
    assert (event.frame, event.last, event.sentence) == (10, 11, "Putty Jab is out of reach by 0.7 pace")
    assert answer.frames[20].distance == 1.8


def test_a_step_forward_is_seen_in_the_distance() -> None:
    answer = asked(EVEN, distance="far", option="forward_dash")
    away = [f.distance for f in answer.frames]
    assert away[0] is not None and away[15] is not None
    assert away[0] < 3.2
    assert away[15] == pytest.approx(3.2 - 1.3)
    assert away[16:] == [away[15]] * len(away[16:])
    assert answer.frames[15].me.moved == pytest.approx(1.3)


def test_a_parry_ends_the_strip_on_the_catch() -> None:
    """The parry is on from its frame 2, eight frames late: frames 10 to 18; their punch comes on 10."""
    body = {
        **PUNISH, "option": "set_pane", "reply": "soot_jab",
        "moment": {"kind": "blocked", "attacker": "me", "move": "ladder_hop"},
    }  # fmt: skip
    answer = asked(body)
    assert (answer.contact.by, answer.contact.effect, answer.contact.frame) == ("them", "parried", 10)
    last = answer.frames[-1]
    assert last.frame == 10
    assert "parry" in [w.kind for w in last.me.windows]
    assert [w.kind for w in last.them.windows if w.kind == "active"] == ["active"]
    assert of_kind(answer, "parried")[0].sentence.startswith("Wenna Pallister parries Soot Jab")


def test_a_high_is_ducked() -> None:
    moves = shelf().pack.characters["wenna"].moves.values()
    high = next(m for m in moves if m.hits and m.hits[0].level == "high" and m.requires is None and not m.wakes_from)
    answer = asked(EVEN, option=high.id, reply="crouch")
    (event,) = of_kind(answer, "posture")
    assert event.sentence == f"{high.name} is evaded: Dessa Marl crouches under a high"
    assert answer.summary.startswith(event.sentence)


def test_a_knockdown_is_held_on_the_floor_and_gets_up() -> None:
    body = {
        **PUNISH, "moment": {"kind": "knockdown", "floored": "them", "state": "face_up", "frames": 14},
        "reply": "quick_rise", "distance": "far",
    }  # fmt: skip
    answer = asked(body)
    assert phases(answer, "them") == "k" * 14 + "m" * 14 + "f"
    assert [f.them.posture for f in answer.frames] == ["grounded"] * 21 + ["crouching"] * 4 + ["standing"] * 4


def test_on_the_floor_it_is_they_who_are_late() -> None:
    body = {
        **PUNISH, "moment": {"kind": "knockdown", "floored": "me", "state": "face_up", "frames": 14},
        "option": "quick_rise", "reply": "cinder_knee", "delay": 5,
    }  # fmt: skip
    answer = asked(body)
    assert (answer.delayed, answer.them.begins, answer.me.begins) == ("them", 6, 15)


def test_what_is_unknown_is_not_made_up() -> None:
    move = shelf().pack.characters["wenna"].moves["putty_jab"]
    hit = msgspec.structs.replace(move.hits[0], first_active=None)
    answer = asked(EVEN, changed("wenna", "putty_jab", hits=(hit,)))
    assert answer.contact.frame is None
    assert answer.frames[0].me.phase == "unknown"
    assert answer.frames[0].me.phases == ["startup", "active", "recovery"]
    assert [(m.move, m.property) for m in answer.frames[0].me.hangs_on] == [("putty_jab", "first_active")]
    assert all(not w.sure for f in answer.frames for w in f.me.windows if w.kind == "active")
    assert ("putty_jab", "first_active") in [(m.move, m.property) for m in answer.hangs_on]
    assert of_kind(answer, "may_touch") or answer.contact.effect != "unknown"


def test_an_unknown_recovery_leaves_the_end_open() -> None:
    answer = asked(PUNISH, changed("wenna", "putty_jab", total=None))
    assert answer.contact.frame == 10
    later = answer.frames[-1]
    assert later.me.phases and "free" in later.me.phases
    assert ("putty_jab", "total") in [(m.move, m.property) for m in later.me.hangs_on]
    assert later.them.phases == ["hitstun", "free"]
    assert not of_kind(answer, "acts")


def test_an_unknown_advantage_on_hit_leaves_open_when_they_are_free() -> None:
    move = shelf().pack.characters["wenna"].moves["putty_jab"]
    answer = asked(PUNISH, changed("wenna", "putty_jab", hits=(msgspec.structs.replace(move.hits[0], on_hit=None),)))
    later = answer.frames[20].them
    assert (later.phase, later.phases) == ("unknown", ["hitstun", "free"])
    assert [(m.move, m.property) for m in later.hangs_on] == [("putty_jab", "on_hit")]
    assert [e.by for e in of_kind(answer, "acts")] == ["me"]


def test_an_unknown_distance_is_what_it_hangs_on() -> None:
    answer = asked({k: v for k, v in EVEN.items() if k != "distance"}, reply="soot_jab")
    assert answer.contact.effect == "unknown"
    assert {e.by for e in of_kind(answer, "may_touch")} == {"me", "them"}
    assert all("distance" in e.sentence for e in of_kind(answer, "may_touch"))
    assert [f.distance for f in answer.frames] == [None] * len(answer.frames)
    assert [m.property for m in answer.hangs_on] == ["distance"]


def test_an_unclocked_moment_has_no_strip_and_says_why() -> None:
    move = shelf().pack.characters["marl"].moves["cinder_knee"]
    answer = asked(PUNISH, changed("marl", "cinder_knee", hits=(msgspec.structs.replace(move.hits[0], on_block=None),)))
    assert (answer.frames, answer.events, answer.contact.effect) == ([], [], "unknown")
    assert ("cinder_knee", "on_block") in [(m.move, m.property) for m in answer.hangs_on]
    assert answer.me.begins is None


def test_the_bound_cuts_the_strip_and_not_the_verdict() -> None:
    whole, cut = asked(PUNISH), asked(PUNISH, frames=4)
    assert cut.cut and len(cut.frames) == 4
    assert cut.frames == whole.frames[:4]
    assert (cut.contact, cut.result, cut.summary) == (whole.contact, whole.result, whole.summary)
    assert all(event.frame <= 4 for event in cut.events)


def test_the_depth_of_the_proof() -> None:
    full, brief, none = (asked(PUNISH, explain=depth) for depth in ("full", "brief", "none"))
    assert any(reason.facts for reason in full.result.reasons)
    assert [r.sentence for r in brief.result.reasons] == [r.sentence for r in full.result.reasons]
    assert not any(reason.facts for reason in brief.result.reasons)
    assert none.result.reasons == []
    assert none.sentence == full.sentence
    assert none.frames == full.frames


def test_a_trade_and_a_same_frame_ruling() -> None:
    answer = asked(EVEN, option="putty_jab", reply="soot_jab")
    assert (answer.contact.by, answer.contact.effect, answer.contact.frame) == ("both", "trade", 10)
    assert answer.frames[-1].frame == 10
    assert of_kind(answer, "trade")[0].by == "both"


BAD = [
    ({"option": "putty_jabb"}, "option-unknown", "/option"), ({"reply": "gard"}, "option-unknown", "/reply"),
    ({"distance": "tuching"}, "distance-unknown", "/distance"),
    ({"me": {"character": "wena"}}, "character-unknown", "/me/character"),
]  # fmt: skip


@pytest.mark.parametrize(("change", "code", "pointer"), BAD, ids=[pointer for _, _, pointer in BAD])
def test_a_wrong_word_is_pointed_at(change: dict[str, Any], code: str, pointer: str) -> None:
    with pytest.raises(AdvisorError) as error:
        asked({**PUNISH, **change})
    assert (error.value.code, error.value.pointer) == (code, pointer)
    assert "did you mean" in error.value.help


def test_a_follow_up_has_its_own_timing() -> None:
    pack = shelf().pack
    parent, follow = _string(pack)
    body = {
        "me": {"character": "ilko"}, "them": {"character": "wenna"}, "distance": "touching", "option": follow,
        "reply": "guard", "moment": {"kind": "blocked", "attacker": "me", "move": parent.id},
    }  # fmt: skip
    assert asked(body).frames
    with pytest.raises(QuestionError) as error:
        asked(body, delay=2)
    assert error.value.pointer == "/delay"


def _string(pack: Pack) -> tuple[Move, str]:
    for move in pack.characters["ilko"].moves.values():
        for follow in move.follow_ups:
            if "block" in follow.on and move.hits and move.hits[0].blockstun is not None:
                return move, follow.move
    raise AssertionError("the demo pack has strings")


def test_it_says_what_advice_says_of_the_same_pair() -> None:
    here = shelf()
    question = msgspec.convert(
        {k: v for k, v in PUNISH.items() if k not in ("option", "reply")}
        | {"responses": ["putty_jab", "storm_shutter"], "replies": ["guard"]}, Question,
    )  # fmt: skip
    advice = advise(here.pack, here.rules, here.evaluator, question)
    for response in advice.responses:
        assert asked(PUNISH, option=response.option).result == response.against[0]


def test_the_example_is_answered() -> None:
    answer = asked(STUDY.example)
    assert answer.contact.frame == 10


def _moment(rng: Random, pack: Pack, me: str, them: str) -> Moment:
    choice = rng.randrange(7)
    if choice == 0:
        return Neutral()
    if choice == 1:
        return Advantage(frames=rng.randint(-15, 15), held=rng.choice(["recovery", "blockstun", "hitstun"]))
    if choice == 2:
        return KnockedDown(
            floored=rng.choice(["me", "them"]), state=rng.choice(list(pack.conventions.knockdowns)),
            frames=rng.randint(-10, 30),
        )  # fmt: skip
    attacker = rng.choice(["me", "them"])
    moves = pack.characters[me if attacker == "me" else them].moves.values()
    after = (Blocked, HitLanded, CounterHit, Whiffed)[choice - 3]
    return after(attacker=attacker, move=rng.choice([m.id for m in moves if m.hits]))


def _covered(pack: Pack, character: str) -> list[str]:
    """Moves with a parry or with armour; all of them where there are none."""
    moves = pack.characters[character].moves
    return [m.id for m in moves.values() if m.parry or m.armour] or list(moves)


@cache
def many() -> list[tuple[Replay, ReplayAnswer]]:
    """Random exchanges of the demo pack, the same in every run."""
    rng, here = Random(20), shelf()
    pack, out = here.pack, []
    ids = list(pack.characters)
    for i in range(900):
        me, them = rng.choice(ids), rng.choice(ids)
        mine = [*pack.characters[me].moves, *pack.system]
        theirs = _covered(pack, them) if i % 7 == 1 else [*pack.characters[them].moves, *pack.system, *pack.wake_ups]
        moment = _moment(rng, pack, me, them)
        if i % 4 == 0:
            # Parries meet what they are for: attacks that come while they are on.
            me, moment, mine = "wenna", Advantage(frames=-rng.randint(2, 9)), _covered(pack, "wenna")
            theirs = [m.id for m in pack.characters[them].moves.values() if m.kind == "attack" and not m.wakes_from]
        floored = isinstance(moment, KnockedDown) and moment.floored
        request = Replay(
            me=Fighter(character=me), them=Fighter(character=them), moment=moment,
            option=rng.choice([*pack.wake_ups] if floored == "me" else mine),
            reply=rng.choice([*pack.wake_ups] if floored == "them" else theirs),
            distance=rng.choice([None, "touching", "touching", 0.7, "close", "mid"]), frames=400,
        )  # fmt: skip
        late = rng.choice([0, 0, 0, 3, 10, 25])
        follows = {f.move for m in (*pack.characters[me].moves.values(), *pack.characters[them].moves.values())
                   for f in m.follow_ups}  # fmt: skip
        if request.option not in follows and request.reply not in follows:
            request.delay = late
        out.append((request, replay(pack, here.rules, here.evaluator, request)))
    return out


def test_the_deciding_contact_is_the_exchanges_own() -> None:
    """Worked out once more from question to ``meet``, with the delay set on the side by hand."""
    here, seen = shelf(), Counter[str]()
    for request, answer in many():
        question = Question(
            me=request.me, them=request.them, moment=request.moment, distance=request.distance,
            responses=[request.option], replies=[request.reply],
        )  # fmt: skip
        situation = settle(here.pack, question)
        mine, theirs, _ = ready(situation)
        pair = pair_of(situation, mine[0], theirs[0])
        if pair.me is None or pair.them is None:
            assert (answer.contact.effect, answer.frames) == ("unknown", [])
            seen["no clock"] += 1
            continue
        sides = {"me": pair.me, "them": pair.them}
        sides[answer.delayed] = msgspec.structs.replace(sides[answer.delayed], delay=request.delay)
        exchange = meet(
            situation.pack.conventions, sides["me"], sides["them"], situation.distance, nearest=situation.nearest,
            farthest=situation.farthest,
        )  # fmt: skip
        contact = answer.contact
        assert (contact.by, contact.effect, contact.frame) == (exchange.by, exchange.effect, exchange.frame)
        assert (contact.posture, contact.phase) == (exchange.posture, exchange.phase)
        seen[exchange.effect] += 1
    for effect in ("hit", "counter_hit", "blocked", "parried", "none", "unknown"):
        assert seen[effect] >= 8, seen


def test_the_strip_agrees_with_the_contact() -> None:
    seen = Counter[str]()
    for request, answer in many():
        contact = answer.contact
        if contact.frame is None or contact.by not in ("me", "them"):
            continue
        assert not answer.cut
        frame = answer.frames[contact.frame - 1]
        sides: dict[str, SideFrame] = {"me": frame.me, "them": frame.them}
        striker, struck = sides.pop(contact.by), next(iter(sides.values()))
        assert contact.hit in [w.number for w in striker.windows if w.kind == "active"], (request, frame)
        if contact.posture is not None:
            assert struck.posture == contact.posture, (request, frame)
        if contact.phase is not None:
            assert struck.phase == contact.phase, (request, frame)
        assert frame.distance == contact.distance
        kinds = [w.kind for w in struck.windows]
        assert ("parry" in kinds) or contact.effect != "parried"
        assert ("guard" in kinds) or contact.effect != "blocked"
        seen[contact.effect] += 1
    assert sum(seen.values()) > 200, seen


@pytest.mark.full
def test_nothing_touches_before_the_contact_and_the_frames_are_in_a_row() -> None:
    seen = Counter[str]()
    for request, answer in many():
        assert [frame.frame for frame in answer.frames] == list(range(1, len(answer.frames) + 1))
        contact = answer.contact.frame
        if contact is not None or answer.contact.effect == "none":
            early = [e for e in of_kind(answer, "would_touch") if contact is None or e.frame < contact]
            assert early == [], (request, early)
        assert [e.frame for e in answer.events] == sorted(e.frame for e in answer.events)
        assert len(answer.summary) <= 90
        seen.update(e.kind for e in answer.events)
    for kind in ("reach", "posture", "armoured", "may_touch", "acts", "begins"):
        assert seen[kind] > 0, (kind, seen)


def test_who_is_free_first_is_what_the_exchange_leaves() -> None:
    """The first free frames of the strip are as far apart as the advantage says."""
    seen = 0
    for request, answer in many():
        left = answer.result.leaves.advantage
        if answer.contact.effect not in ("hit", "counter_hit", "blocked") or left is None or answer.cut:
            continue
        free = {}
        for who in ("me", "them"):
            later = [f for f in answer.frames if f.after and getattr(f, who).phase == "free"]
            free[who] = later[0].frame if later else None
        if free["me"] is None or free["them"] is None or min(free["me"], free["them"]) == answer.contact.frame + 1:
            continue
        assert free["them"] - free["me"] == left, (request, free)
        seen += 1
    assert seen > 100
