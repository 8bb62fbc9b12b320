"""Strings: worked checks (common practice, no published source), the demo pack, and every fit against the walker."""

from __future__ import annotations

from functools import cache

import msgspec
import pytest

from advisor.errors import Unanswerable
from advisor.facts.question import Fighter
from advisor.library import Shelf
from advisor.pack.model import Move, Pack
from advisor.studies.strings import STUDY, StringsRequest, strings
from advisor.studies.strings_answer import Fit, StringLink, StringMix, StringsAnswer
from advisor.studies.weighing import FrameRun, runs_of
from advisor.units import Span
from tests.oracle.frame_walk import Body, walk
from tests.unit.advice.demo import shelf
from tests.unit.studies.quay_more import quay_more
from tests.worked.asked import EVALUATORS, shelf_of


def studied(at_hand: Shelf, **asked: object) -> StringsAnswer:
    request = msgspec.convert(asked, StringsRequest)
    return strings(at_hand.pack, at_hand.rules, at_hand.evaluator, request)


def link(answer: StringsAnswer, move: str, on: str = "block") -> StringLink:
    return next(found for found in answer.links if (found.move, found.on) == (move, on))


def fit(found: StringLink, option: str) -> Fit | None:
    return next((f for f in found.fits if f.option == option), None)


def run(first: int, last: int) -> FrameRun:
    return FrameRun(first=first, last=last)


# --- domain, section 10: hit 2 arrives at 14 or 17 after a blockstun of 14 --------------------------


@pytest.mark.parametrize("engine", EVALUATORS)
def test_fourteen_after_fourteen_jails_and_nothing_fits(engine: str) -> None:
    answer = studied(shelf_of(engine), character="torrow", starter="one_two", them={"character": "hesk"})
    close = link(answer, "two_close")
    assert (close.word, close.stun, close.arrives, close.gap) == ("jails", 14, run(14, 14), run(-1, -1))
    assert (close.fits, close.fitting, close.weighed) == ([], 0, 0)
    assert close.rule == "string/jailed"
    assert close.sentence == "Two Close (hit 2) arrives 14 frames after hit 1, inside the stun: hit 1 and hit 2 jail."


@pytest.mark.parametrize("engine", EVALUATORS)
def test_seventeen_after_fourteen_leaves_two_and_the_parry_fits(engine: str) -> None:
    answer = studied(shelf_of(engine), character="torrow", starter="one_two", them={"character": "hesk"})
    late = link(answer, "two_late")
    assert (late.word, late.stun, late.arrives, late.gap) == ("gap", 14, run(17, 17), run(2, 2))
    parry = fit(late, "still_water")
    assert parry is not None
    assert (parry.verdict, parry.damage, parry.rule) == ("beats", 25, "parry/catches")
    assert parry.delays == parry.against_all == [run(0, 1)]
    assert parry.sentence.startswith("Still Water is active on frames 16 to 24;")
    # a frame later its frame 2 is after the contact; a leap leaves the floor on its frame 4
    assert fit(late, "leap") is None
    assert fit(late, "quick_tap") is None


def test_on_hit_both_hits_of_the_pair_combo_or_not_by_the_hitstun() -> None:
    answer = studied(shelf_of("plain"), character="torrow", starter="one_two")
    # hitstun of One Two: on_hit + 6, active 2, recovery 13 -> 20
    assert [link(answer, move, "hit").word for move in ("two_close", "two_late")] == ["combos", "combos"]
    assert link(answer, "two_late", "hit").stun == 20
    assert link(answer, "two_late", "hit").sentence.endswith("inside the stun: hit 1 and hit 2 combo.")


# --- delays, enders, what is not recorded -------------------------------------------------------------


@cache
def sway() -> StringsAnswer:
    return studied(quay_more(), character="torrow", starter="sway", them={"character": "hesk"}, limit=400)


def test_a_hit_that_may_wait_jails_or_leaves_a_range_of_gaps() -> None:
    wait = link(sway(), "sway_wait")
    assert (wait.word, wait.arrives, wait.gap) == ("jails_or_gap", run(14, 20), run(-1, 5))
    assert "Delayed, it leaves a gap of up to 5." in wait.sentence
    parry = fit(wait, "still_water")
    assert parry is not None
    # arrival 16 is the first that its frame 2 meets; on 15 it is met in start-up
    assert parry.arrives == [run(16, 20)]
    assert parry.against_all == []
    duck = fit(wait, "low_guard")
    assert duck is not None
    assert "crouches_under" in duck.tags
    assert duck.arrives == [run(15, 20)]
    assert duck.against_all == [run(0, 0)]


def test_what_interrupts_is_a_matter_of_one_frame() -> None:
    """Blockstun 14 and first active frame 8: it can touch on 22; none of the hits comes later than 20."""
    assert link(sway(), "sway_mid").quickest is None
    at_hand = quay_more()
    torrow = at_hand.pack.characters["torrow"]
    for arrives, wins in ((24, True), (22, False)):
        follow = msgspec.structs.replace(torrow.moves["sway"].follow_ups[0], arrives=Span(arrives, arrives + 1))
        starter = msgspec.structs.replace(torrow.moves["sway"], follow_ups=(follow,))
        moves = {**torrow.moves, "sway": starter}
        pack = msgspec.structs.replace(
            at_hand.pack,
            characters={**at_hand.pack.characters, "torrow": msgspec.structs.replace(torrow, moves=moves)},
        )
        answer = strings(
            pack, at_hand.rules, at_hand.evaluator,
            StringsRequest(character="torrow", starter="sway", them=Fighter(character="hesk")),
        )  # fmt: skip
        found = link(answer, "sway_mid")
        gaff = fit(found, "gaff")
        assert gaff is not None
        assert gaff.verdict == ("beats" if wins else "trades")
        assert found.quickest == ("gaff" if wins else None)




def mix(answer: StringsAnswer, *after: str, on: str = "block") -> StringMix:
    return next(m for m in answer.mixups if (tuple(m.after), m.on) == (after, on))


def test_the_mix_up_names_what_each_ender_beats() -> None:
    found = mix(sway(), "sway")
    beats = {choice.move: set(choice.beats) for choice in found.choices}
    assert {"crouching_guard", "low_guard"} & beats["sway_mid"] == {"crouching_guard"}
    assert "standing_guard" in beats["sway_low"] and "crouching_guard" not in beats["sway_low"]
    assert "standing_guard" not in beats["sway_mid"]
    stops = {answer.option: answer.stops for answer in found.answers}
    assert stops["step_left"] == max(stops.values())
    assert found.answers[0].stops >= found.answers[-1].stops
    assert all(answer.of == len(found.choices) for answer in found.answers)


def test_an_unknown_start_up_leaves_the_step_unknown_and_says_what_decides() -> None:
    dim = link(sway(), "sway_dim")
    assert (dim.word, dim.arrives, dim.gap) == ("unknown", None, None)
    assert {m.move for m in dim.hangs_on} == {"sway_dim"}
    assert {m.property for m in dim.hangs_on} & {"first_active", "arrives"}
    assert sway().missing[0].move == "sway_dim"
    assert dim.sentence.startswith("Unknown: it hangs on sway_dim")


def test_a_follow_up_of_hits_only_is_no_step_on_block() -> None:
    assert {found.on for found in sway().links if found.move == "sway_end"} == {"hit"}
    line = next(s for s in sway().strings if s.moves[-1] == "sway_end")
    assert (line.on_block, line.on_counter_hit) == (["not from there"], ["not from there"])


def test_no_distance_is_the_nearest_that_the_pack_names_and_says_so() -> None:
    assert sway().distance == 0.5
    assert any("`close`" in said for said in sway().cautions)
    far = studied(quay_more(), character="torrow", starter="sway", distance="far")
    assert link(far, "sway_mid").word == "misses"
    assert "does not reach" in link(far, "sway_mid").sentence


# --- the demo pack --------------------------------------------------------------------------------------


@cache
def demo(character: str, them: str | None) -> StringsAnswer:
    other = None if them is None else {"character": them}
    return studied(shelf(), character=character, them=other, limit=400)


def test_every_path_of_follow_ups_is_a_string() -> None:
    for character in shelf().pack.characters.values():
        wanted: set[tuple[str, ...]] = set()

        def onward(path: tuple[Move, ...], moves: dict[str, Move], found: set[tuple[str, ...]]) -> None:
            for follow in path[-1].follow_ups:
                if path[-1].hits and follow.on & {"block", "hit", "counter_hit"} and len(path) < 6:
                    longer = (*path, moves[follow.move])
                    found.add(tuple(m.id for m in longer))
                    onward(longer, moves, found)

        for move in character.moves.values():
            if move.requires is None or not move.requires.follows:
                onward((move,), character.moves, wanted)
        answer = demo(character.id, None)
        assert {tuple(s.moves) for s in answer.strings} == wanted
        assert answer.complete
    assert len(demo("ilko", None).strings) >= 15


def test_words_follow_the_numbers_of_the_pack() -> None:
    counted = 0
    for character in shelf().pack.characters.values():
        for found in demo(character.id, None).links:
            if found.gap is None or found.word == "misses":
                continue
            counted += 1
            assert found.arrives is not None and found.stun is not None
            assert (found.gap.first, found.gap.last) == (
                found.arrives.first - found.stun - 1, found.arrives.last - found.stun - 1,
            )
            held = "jails" if found.on == "block" else "combos"
            inside = [n <= found.stun for n in (found.arrives.first, found.arrives.last)]
            assert found.word == (held if all(inside) else f"{held}_or_gap" if any(inside) else "gap")
            assert found.sentence and found.rule
    assert counted >= 60


def test_every_listed_delay_works_in_the_walk_and_none_is_left_out() -> None:
    """What the walker calls a catch, or an attack of mine that lands, is listed; what it calls struck is not."""
    checked = listed = 0
    pack = shelf().pack
    owner, facing = pack.characters["ilko"], pack.characters["wenna"]
    options = {**facing.moves, **pack.system}
    for found in demo("ilko", "wenna").links:
        parent, follow = owner.moves[found.after[-1]], owner.moves[found.move]
        if found.on != "block" or found.arrives is None or found.arrives.width > 1 or found.distance is None:
            continue
        if found.gap is None or found.gap.first < 0 or found.stun is None or not known(follow):
            continue
        fits = {f.option: f for f in found.fits}
        for key, option in options.items():
            if not known(option) or option.requires is not None or option.wakes_from:
                continue
            walked = [_walked(pack, parent, follow, option, found, delay) for delay in range(found.gap.first + 1)]
            delays = {d for r in (fits[key].delays if key in fits else ()) for d in range(r.first, r.last + 1)}
            for delay, (by, effect) in enumerate(walked):
                checked += 1
                wins = (by, effect) == ("them", "parried") or (by == "me" and effect in ("hit", "counter_hit"))
                struck = by == "them" and effect in ("hit", "counter_hit", "blocked")
                if wins:
                    assert delay in delays, (found.after, found.move, key, delay)
                if struck:
                    assert delay not in delays, (found.after, found.move, key, delay)
                listed += delay in delays
    assert checked >= 400
    assert listed >= 20


def known(move: Move) -> bool:
    hits = all(
        None not in (h.first_active, h.active_stop, h.level, h.reach, h.tags, h.tracks, h.breaks) for h in move.hits
    )
    windows = (
        move.airborne, move.crouching, move.grounded, move.invulnerable, move.armour, move.parry, move.sidestep,
        move.displacement, move.counter_state, move.total,
    )  # fmt: skip
    return hits and None not in windows


def _walked(
    pack: Pack, parent: Move, follow: Move, option: Move, found: StringLink, delay: int
) -> tuple[str, str]:
    """By whom and what, when the option is begun ``delay`` frames after the stun."""
    first, touched = follow.hits[0].first_active, parent.hits[0].first_active
    assert None not in (first, touched, found.stun, found.arrives, found.distance)
    walked = walk(
        pack.conventions,
        Body(option=option, free_at=found.stun, held="blockstun", delay=delay),
        Body(
            option=follow, free_at=found.arrives.first - first, held="recovery", prior=parent,
            prior_frame=touched,
        ),
        round(found.distance * 1_000_000),
    )  # fmt: skip
    return walked.by, walked.effect


def test_every_step_says_why_and_fits_stand_in_the_order_of_the_verdicts() -> None:
    order = list(shelf().rules.vocabulary.verdicts)
    for them in ("wenna", "marl"):
        answer = demo("ilko", them)
        assert len(answer.summary) <= 90
        assert len(answer.cautions) >= 2
        for found in answer.links:
            ranks = [order.index(f.verdict) for f in found.fits]
            assert ranks == sorted(ranks)
            assert "loses" not in {f.verdict for f in found.fits}
            assert all(f.sentence and (f.rule or f.hangs_on) for f in found.fits)
            assert found.fitting >= len(found.fits)


def test_the_distance_grows_along_a_string_by_its_pushback() -> None:
    found = {(*f.after, f.move): f for f in demo("ilko", None).links if f.on == "block"}
    first, second = found["sting", "second_sting"], found["sting", "second_sting", "third_sting"]
    assert first.distance == pytest.approx(0.4 + 0.2)
    assert second.distance == pytest.approx(0.4 + 0.2 + 0.2)


# --- bad input ------------------------------------------------------------------------------------------


WENNA = {"character": "wenna"}


@pytest.mark.parametrize(
    ("asked", "code", "pointer", "meant"),
    [
        ({"character": "ilkoo"}, "character-unknown", "/character", "ilko"),
        ({"them": {"character": "wena"}}, "character-unknown", "/them/character", "wenna"),
        ({"starter": "stign"}, "move-unknown", "/starter", "sting"),
        ({"distance": "touchin"}, "distance-unknown", "/distance", "touching"),
        ({"them": WENNA, "responses": ["set_pan"]}, "option-unknown", "/responses/0", "set_pane"),
    ],
)
def test_what_the_pack_does_not_have(asked: dict[str, object], code: str, pointer: str, meant: str) -> None:
    with pytest.raises(Unanswerable) as caught:
        studied(shelf(), **{"character": "ilko", **asked})
    assert (caught.value.code, caught.value.pointer) == (code, pointer)
    assert caught.value.help == f"did you mean `{meant}`?"


@pytest.mark.parametrize(
    "asked", [{"character": "ilko", "most_hits": 7}, {"character": "ilko", "starters": "sting"}, {}]
)
def test_what_is_no_request(asked: dict[str, object]) -> None:
    with pytest.raises(msgspec.ValidationError):
        msgspec.convert(asked, StringsRequest)


def test_a_move_without_follow_ups_has_no_string() -> None:
    answer = studied(shelf(), character="ilko", starter="swarm_heel")
    assert (answer.strings, answer.links, answer.mixups) == ([], [], [])
    assert answer.summary.endswith("no string goes on from a contact.")


def test_the_example_of_the_study_is_answered() -> None:
    answer = studied(shelf(), **STUDY.example)
    assert answer.strings


@pytest.mark.parametrize(
    ("frames", "runs"), [([], []), ([3], [(3, 3)]), ([5, 1, 2, 2], [(1, 2), (5, 5)]), (range(4), [(0, 3)])]
)
def test_runs(frames: list[int], runs: list[tuple[int, int]]) -> None:
    assert [(r.first, r.last) for r in runs_of(frames)] == runs
