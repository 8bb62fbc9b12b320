"""Layered defence and safe pressure: checks by hand, and every switch frame and delay against the walker."""

from __future__ import annotations

import msgspec
import pytest

from advisor.errors import QuestionError, Unanswerable
from advisor.facts import Entry, Question, Ready, settle
from advisor.facts.question import Fighter, KnockedDown, Neutral
from advisor.library import Shelf
from advisor.pack.model import Armour, Displacement, Guard, Move, Pack, Parry, Shield, Sidestep
from advisor.studies.defence import STUDY, DefenceRequest, defence
from advisor.studies.defence_answer import DefenceAnswer, DefenceCell, DefenceRow
from advisor.studies.defence_layers import Layer, Layered, layered_move
from advisor.units import FOREVER, Span
from tests.oracle.frame_walk import Body, Walked, walk
from tests.unit.advice.demo import shelf
from tests.unit.studies.quay_more import quay_more
from tests.unit.studies.test_strings import known
from tests.worked.asked import EVALUATORS

FACED = {"me": {"character": "hesk"}, "them": {"character": "torrow"}, "distance": 0.5}
FREE = {**FACED, "moment": {"kind": "neutral"}}
DOWN = {**FACED, "moment": {"kind": "knockdown", "floored": "them", "state": "face_up", "frames": 10}}
LONGEST = 60


def studied(at_hand: Shelf, **asked: object) -> DefenceAnswer:
    return defence(at_hand.pack, at_hand.rules, at_hand.evaluator, msgspec.convert(asked, DefenceRequest))


def row(answer: DefenceAnswer, option: str) -> DefenceRow:
    return next(r for r in answer.rows if r.option == option)


def cell(found: DefenceRow, reply: str) -> DefenceCell:
    return next(c for c in found.cells if c.reply == reply)


def runs(found: list) -> list[tuple[int, int]]:  # type: ignore[type-arg]
    return [(r.first, r.last) for r in found]


# --- by hand: common practice, no published source ---------------------------------------------------


def test_standing_then_crouching_covers_mids_before_and_the_low_after_the_switch() -> None:
    """Mids touch on 12 and 15, the low on 20: crouch from 16 at the earliest and from 20 at the latest."""
    answer = studied(
        quay_more(), **FREE, guards=["high_guard"], responses=["low_guard"],
        replies=["mid_twelve", "mid_fifteen", "low_twenty"],
    )  # fmt: skip
    fuzzy = row(answer, "high_guard+low_guard")
    assert (fuzzy.covers, fuzzy.of, runs(fuzzy.windows), fuzzy.at) == (3, 3, [(16, 20)], 18)
    assert fuzzy.adds == ["low_twenty"]
    assert runs(cell(fuzzy, "mid_twelve").windows) == [(13, 60)]
    assert runs(cell(fuzzy, "mid_fifteen").windows) == [(16, 60)]
    assert runs(cell(fuzzy, "low_twenty").windows) == [(1, 20)]
    assert cell(fuzzy, "low_twenty").sentence == "Low Twenty is blocked on frame 20."
    assert answer.alone[0].not_covered == ["low_twenty"]
    # what beats it: the mids delayed past the switch, and the throw, which ducks nothing while it stands
    beaten = {b.option: runs(b.delays) for b in fuzzy.beaten_by}
    assert beaten["mid_twelve"] == [(6, 30)]
    assert beaten["mid_fifteen"] == [(3, 30)]
    assert beaten["hold_twelve"] == [(0, 0)]
    assert "low_twenty" not in beaten
    assert answer.summary == "High Guard, then Low Guard: frame 16-20 covers 3 of 3"


def test_a_late_break_breaks_the_throw_and_costs_nothing_against_what_was_blocked() -> None:
    """The throw lands on 12 and its break counts for 20 frames: pressed on 13 to 32. Too early a Gaff comes out."""
    answer = studied(
        quay_more(), **FREE, guards=["high_guard"], responses=["break:left"], replies=["hold_twelve", "mid_fifteen"],
    )  # fmt: skip
    late = row(answer, "high_guard+break:left")
    held = cell(late, "hold_twelve")
    assert (late.covers, late.of) == (2, 2)
    # pressed on 1 to 4 the Gaff (8) lands before the throw on 12, on 5 with it (a strike beats a throw); on 6 to 12
    # the throw takes its start-up
    assert runs(held.windows) == [(1, 5), (13, 32)]
    assert runs(late.windows) == [(16, 32), (1, 5)]
    assert (held.verdict, held.by, held.effect, held.frame) == ("holds", "both", "break", 12)
    assert "break each other" in held.sentence
    assert late.adds == ["hold_twelve"]
    assert {b.option for b in late.beaten_by} >= {"mid_fifteen"}


def test_a_late_leap_clears_the_throw_and_a_late_parry_takes_the_hand() -> None:
    answer = studied(
        quay_more(), **FREE, guards=["high_guard"], responses=["leap", "still_water"],
        replies=["hold_twelve", "ten_punch", "low_twenty"],
    )  # fmt: skip
    leap = row(answer, "high_guard+leap")
    # on the floor on its frames 1 to 3: the throw on 12 is cleared from switch 9 down, the punch is blocked before 11
    assert cell(leap, "hold_twelve").windows[0].last == 9
    assert runs(cell(leap, "ten_punch").windows)[-1] == (11, 60)
    parry = row(answer, "high_guard+still_water")
    # active on its frames 2 to 10: met on 10 for switches 1 to 9, blocked before the switch from 11 on
    assert runs(cell(parry, "ten_punch").windows) == [(1, 9), (11, 60)]
    assert "hold_twelve" in parry.not_covered


def test_an_attack_that_is_over_before_the_rising_attack_lands_is_safe() -> None:
    """Down for 10 frames, rising for 10 more; Gunwale, invulnerable, lands on 10 + 26 = 36.

    Sail Drop (12, over after 24) touches who has risen (from frame 21, the last active one counts: delays
    8 to 23) and guards again on frame 25 + delay: by 36 up to delay 11. Wide Swing is over after 43: never.
    """
    answer = studied(
        quay_more(), **DOWN, mode="safe_pressure", responses=["sail_drop", "wide_swing"], replies=["rise", "gunwale"],
    )  # fmt: skip
    drop = row(answer, "sail_drop+guard")
    assert (drop.covers, drop.of, drop.jumps, runs(drop.windows), drop.at) == (2, 2, True, [(8, 11)], 9)
    against = cell(drop, "gunwale")
    assert (against.verdict, against.effect, against.by, against.arrives, against.free_on) == (
        "holds", "blocked", "them", 36, 34,
    )  # fmt: skip
    assert runs(against.windows) == [(8, 11)]
    assert drop.sentence.endswith("You can guard from frame 34; Gunwale lands on frame 36 and is blocked.")
    swing = row(answer, "wide_swing+guard")
    assert (swing.covers, swing.not_covered) == (1, ["gunwale"])
    assert [b.option for b in swing.beaten_by] == ["gunwale"]


# --- bad input -----------------------------------------------------------------------------------------


NOT_AN_ATTACK = "name moves with an active window"


@pytest.mark.parametrize(
    ("asked", "code", "pointer", "help"),
    [
        ({"guards": ["high_gard"]}, "option-unknown", "/guards/0", "did you mean `high_guard`?"),
        ({"guards": ["leap"]}, "question-impossible", "/guards/0", "guards: guard, high_guard, low_guard"),
        ({"responses": ["leap", "break:lef"]}, "option-unknown", "/responses/1", "did you mean `break:left`?"),
        ({"replies": ["ten_punhc"]}, "option-unknown", "/replies/0", "did you mean `ten_punch`?"),
        ({"replies": ["guard"]}, "question-impossible", "/replies/0", NOT_AN_ATTACK),
        ({"me": {"character": "hesc"}}, "character-unknown", "/me/character", "did you mean `hesk`?"),
        ({"mode": "safe_pressure", "responses": ["leap"]}, "question-impossible", "/responses/0", NOT_AN_ATTACK),
    ],
)
def test_what_cannot_be_asked(asked: dict[str, object], code: str, pointer: str, help: str) -> None:
    with pytest.raises((Unanswerable, QuestionError)) as caught:
        studied(quay_more(), **{**FREE, **asked})
    assert (caught.value.code, caught.value.pointer, caught.value.help) == (code, pointer, help)


def test_who_lies_on_the_ground_holds_no_guard() -> None:
    floored = {"kind": "knockdown", "floored": "me", "state": "face_up", "frames": 10}
    with pytest.raises(QuestionError) as caught:
        studied(quay_more(), **{**FACED, "moment": floored})
    assert caught.value.pointer == "/moment/floored"


@pytest.mark.parametrize("more", [{"frames": 0}, {"frames": 121}, {"mode": "attack"}, {"guard": ["guard"]}])
def test_what_is_no_request(more: dict[str, object]) -> None:
    with pytest.raises(msgspec.ValidationError):
        msgspec.convert({**FREE, **more}, DefenceRequest)


# --- every switch frame against the walker -----------------------------------------------------------------


def by_frame(first: Move, then: Move, switch: int) -> Move:
    """The composite put together one own frame at a time, with no window longer than a frame but armour's.

    An armour window counts the hits that it takes, so it stays whole; a guard has none.
    """
    assert not first.armour
    last = 160
    each = [(first, k, k) if k < switch else (then, k - switch + 1, k) for k in range(1, last + 1)]

    def spans(name: str) -> tuple[Span, ...]:
        return tuple(
            Span(at, at + 1) for move, own, at in each if any(s.start <= own < s.stop for s in getattr(move, name))
        )

    def windows(name: str, kind: type) -> tuple:  # type: ignore[type-arg]
        return tuple(
            msgspec.structs.replace(w, span=Span(at, at + 1))
            for move, own, at in each
            for w in getattr(move, name)
            if isinstance(w, kind) and w.span.start <= own < w.span.stop
        )

    late = switch - 1
    total = FOREVER if then.total == FOREVER else then.total + late  # type: ignore[operator]
    hits = tuple(
        msgspec.structs.replace(h, first_active=h.first_active + late, active_stop=h.active_stop + late)  # type: ignore[operator]
        for h in then.hits
    )
    armour = tuple(Armour(span=a.span.shifted(late), to=a.to, hits=a.hits) for a in then.armour or ())
    return msgspec.structs.replace(
        then, hits=hits, total=total, airborne=spans("airborne"), crouching=spans("crouching"),
        grounded=spans("grounded"), counter_state=spans("counter_state"), invulnerable=windows("invulnerable", Shield),
        armour=armour, parry=windows("parry", Parry), guard=windows("guard", Guard),
        sidestep=windows("sidestep", Sidestep), displacement=steps(first, then, switch),
    )  # fmt: skip


def steps(first: Move, then: Move, switch: int) -> tuple[Displacement, ...]:
    """One displacement a frame; a held guard does not move."""
    assert not first.displacement
    return tuple(
        Displacement(span=Span(k + switch - 1, k + switch), step=part.step)
        for part in then.displacement or () for k in range(part.span.start, part.span.stop)
    )  # fmt: skip


def walked(pack: Pack, first: Move, then: Move, switch: int, reply: Move, distance: int) -> Walked:
    """The guard alone up to the switch, the whole from there on."""
    them = Body(option=reply)
    guarded = walk(pack.conventions, Body(option=first), them, distance)
    if guarded.frame is not None and guarded.frame < switch:
        return guarded
    return walk(pack.conventions, Body(option=by_frame(first, then, switch)), them, distance)


@pytest.mark.full
def test_every_switch_frame_of_the_demo_pack_is_as_the_walker_has_it() -> None:
    pack = shelf().pack
    compared = 0
    effects: dict[str, int] = {}
    turn = 0
    for me in pack.characters.values():
        for them in pack.characters.values():
            away = ("touching", "close", "mid")[turn % 3]
            turn += 1
            situation = settle(
                pack,
                Question(
                    me=Fighter(character=me.id), them=Fighter(character=them.id), moment=Neutral(), distance=away,
                    replies="all",
                ),
            )  # fmt: skip
            guards = [m for m in pack.system.values() if m.kind == "guard" and m.guard and known(m)]
            usable = [e.move for e in situation.responses if known(e.move)]
            thens = [move for move in usable if move.kind != "attack" or move.armour]
            replies = [e for e in situation.replies if e.move.hits and known(e.move)]
            assert situation.distance is not None
            for n, entry in enumerate(replies):
                reply = Ready(situation, entry, "theirs")
                first, then = guards[n % len(guards)], thens[(n + turn) % len(thens)]
                layer = Layer(
                    id="layer", name="Layer", first=Entry(move=first, key=first.id, name=first.name),
                    then=Entry(move=then, key=then.id, name=then.name),
                )  # fmt: skip
                layered = Layered(situation, layer)
                for switch in range(1, 31, 1 + n % 3):
                    exchange = layered.against(reply, switch).exchange
                    assert exchange is not None
                    truth = walked(pack, first, then, switch, entry.move, situation.distance)
                    compared += 1
                    effects[truth.effect] = effects.get(truth.effect, 0) + 1
                    assert (exchange.by, exchange.effect, exchange.frame) == (truth.by, truth.effect, truth.frame), (
                        first.id, then.id, entry.key, switch, away,
                    )  # fmt: skip
    assert compared >= 2_000
    assert {"hit", "counter_hit", "blocked", "none"} <= set(effects)
    assert effects.get("parried", 0) >= 5


def test_the_best_switch_frames_are_those_of_the_walk() -> None:
    """By brute force over every switch frame: what the walker calls no hit on me is covered in these cases."""
    pack = quay_more().pack
    torrow, system = pack.characters["torrow"].moves, pack.system
    replies = ["mid_twelve", "mid_fifteen", "low_twenty", "ten_punch"]
    both = ["high_guard", "low_guard"]
    answer = studied(quay_more(), **FREE, guards=both, responses=both, replies=replies)
    assert len(answer.rows) == 2
    for found in answer.rows:
        first, then = system[found.first], system[found.then]
        effects = [
            {r: walked(pack, first, then, k, torrow[r], 500_000).effect for r in replies}
            for k in range(1, LONGEST + 1)
        ]  # fmt: skip
        counts = [[r for r, effect in each.items() if effect in ("blocked", "none")] for each in effects]
        most = max(len(c) for c in counts)
        assert found.covers == most
        best = {k for window in found.windows for k in range(window.first, window.last + 1)}
        assert best == {k for k, c in enumerate(counts, 1) if len(c) == most}
        for window in found.windows:
            assert all(counts[k - 1] == window.covers for k in range(window.first, window.last + 1))


def test_every_delay_of_safe_pressure_is_as_the_walker_has_it() -> None:
    pack = shelf().pack
    me, them = pack.characters["wenna"], pack.characters["marl"]
    moment = KnockedDown(floored="them", state="face_up", frames=20)
    answer = defence(
        pack, shelf().rules, shelf().evaluator,
        DefenceRequest(
            me=Fighter(character=me.id), them=Fighter(character=them.id), moment=moment, distance="close",
            mode="safe_pressure", limit=400,
        ),
    )  # fmt: skip
    compared = 0
    for found in answer.rows:
        attack = me.moves[found.first]
        if not known(attack):
            continue
        for against in found.cells:
            reply = pack.wake_ups.get(against.reply) or them.moves[against.reply]
            if not known(reply):
                continue
            truth = walk(
                pack.conventions, Body(option=attack, delay=found.at),
                Body(option=reply, free_at=20, held="knockdown"), pack.conventions.distances["close"],
            )  # fmt: skip
            compared += 1
            assert (against.by, against.effect, against.frame) == (truth.by, truth.effect, truth.frame)
            if truth.by == "them" and truth.effect == "blocked":
                assert against.free_on is not None and truth.frame is not None
                assert against.free_on <= truth.frame
    assert compared >= 60


# --- the composite itself, and the demo pack ------------------------------------------------------------------


def test_a_composite_holds_the_guard_and_then_the_rest() -> None:
    pack = quay_more().pack
    made = layered_move(pack.system["low_guard"], pack.characters["hesk"].moves["still_water"], 7)
    assert made.crouching == (Span(1, 7),)
    assert [g.span for g in made.guard] == [Span(1, 7)]
    assert made.parry is not None and [p.span for p in made.parry] == [Span(8, 17)]
    assert made.total == 36
    assert layered_move(pack.system["low_guard"], pack.system["leap"], 1) is pack.system["leap"]
    blank = msgspec.structs.replace(pack.system["leap"], airborne=None)
    assert layered_move(pack.system["low_guard"], blank, 7).airborne is None


def test_what_is_not_recorded_stays_unknown_and_says_what_decides() -> None:
    pack = quay_more().pack
    hesk = pack.characters["hesk"]
    blank = msgspec.structs.replace(hesk.moves["still_water"], parry=None)
    moves = {**hesk.moves, "still_water": blank}
    characters = {**pack.characters, "hesk": msgspec.structs.replace(hesk, moves=moves)}
    at_hand = msgspec.structs.replace(quay_more(), pack=msgspec.structs.replace(pack, characters=characters))
    answer = studied(
        at_hand, **FREE, guards=["high_guard"], responses=["still_water"], replies=["ten_punch"], frames=10
    )
    found = row(answer, "high_guard+still_water")
    assert found.unknown == ["ten_punch"] and found.covers == 0
    assert "parry" in {m.property for m in found.cells[0].hangs_on}
    assert {m.move for m in found.cells[0].hangs_on} == {"still_water"}
    assert answer.missing


@pytest.mark.parametrize("mode", ["defend", "safe_pressure"])
def test_rows_stand_in_order_and_say_why(mode: str) -> None:
    moment = {"kind": "knockdown", "floored": "them", "state": "side_on", "frames": 22}
    for me, them in (("marl", "ilko"), ("ketterby", "wenna")):
        answer = studied(
            shelf(), me={"character": me}, them={"character": them}, distance="close", mode=mode, limit=40,
            moment=moment if mode == "safe_pressure" else {"kind": "neutral"},
        )  # fmt: skip
        assert answer.rows
        covers = [r.covers for r in answer.rows]
        assert covers == sorted(covers, reverse=True)
        assert len(answer.summary) <= 90
        for found in answer.rows:
            assert found.sentence and len(found.cells) == found.of == len(answer.replies)
            assert all(c.sentence for c in found.cells)
            for window in found.windows:
                assert window.width == window.last - window.first + 1 >= 1
                assert len(window.covers) == found.covers
            if found.windows:
                assert any(w.first <= found.at <= w.last for w in found.windows)


def test_the_example_of_the_study_is_answered() -> None:
    answer = studied(shelf(), **STUDY.example)
    assert len(answer.rows) == 3


@pytest.mark.parametrize("mode", ["defend", "safe_pressure"])
def test_both_evaluators_give_the_same_rows(mode: str) -> None:
    asked = {**(FREE if mode == "defend" else DOWN), "mode": mode}
    found = [studied(quay_more(engine), **asked) for engine in EVALUATORS]
    assert all(answer.rows == found[0].rows for answer in found)
    assert found[0].rows
