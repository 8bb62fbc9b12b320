"""The study of coverage: worked checks on a pack made by hand, brute force on the demo pack, bad input."""

from __future__ import annotations

import dataclasses
from functools import cache
from typing import Any

import msgspec
import pytest

from advisor.advice import judge_pairs
from advisor.errors import AdvisorError
from advisor.facts import Question, ready, settle, situation_record
from advisor.pack.model import Character, Conventions, Guard, Hit, Knockdown, Level, Move, Pack, Sidestep
from advisor.studies.coverage import STUDY, Coverage, coverage
from advisor.studies.coverage_answer import CoverageAnswer, Row
from advisor.studies.coverage_cells import Grid
from advisor.studies.coverage_timing import best_timing, success_of
from advisor.studies.weighing import STANDS, WINS, FrameRun
from advisor.units import FOREVER, Span
from tests.oracle.frame_walk import Body, walk
from tests.unit.advice.demo import shelf

BARE = Move(
    id="bare", name="bare", kind="movement", total=39, airborne=(), crouching=(), invulnerable=(), armour=(), parry=(),
    sidestep=(), displacement=(), counter_state=(),
)  # fmt: skip
LOW = Level(id="low", hits=frozenset({"standing", "crouching", "grounded"}), blocked_by=frozenset({"crouching"}))
MID = Level(id="mid", hits=frozenset({"standing", "crouching"}), blocked_by=frozenset({"standing", "crouching"}))


RUN = Span(1, FOREVER)


def option(name: str, kind: str = "movement", **windows: Any) -> Move:
    return msgspec.structs.replace(BARE, id=name, name=name.replace("_", " ").title(), kind=kind, **windows)


def strike(name: str, first: int, *, level: str = "low", reach: int = 10, active: int = 2, **more: Any) -> Move:
    hit = Hit(
        first_active=first, active_stop=first + active, level=level, damage=10.0, reach=reach, tags=frozenset(),
        tracks=more.pop("tracks", frozenset({"left"})), breaks=frozenset(), on_block=-5, on_hit=3, on_counter_hit=3,
    )  # fmt: skip
    return option(name, "attack", hits=(hit,), total=first + active + 15, **more)


def of_id(*moves: Move) -> dict[str, Move]:
    return {move.id: move for move in moves}


def roll(side: str) -> Move:
    return option(f"roll_{side}", total=30, sidestep=(Sidestep(span=Span(1, 25), side=side),))


@cache
def quay() -> Pack:
    """One state on the floor, four ways up: stay down, a roll to either side, a rising attack; and a late guard."""
    ways = (
        option("stay_down", total=40, grounded=(Span(1, 41),)), roll("left"), roll("right"),
        option("late_guard", total=60, guard=(Guard(span=Span(9, 61), guards=frozenset({"standing", "crouching"})),)),
    )  # fmt: skip
    up = strike("up_swing", 20, level="mid", wakes_from=frozenset({"flat"}))
    mine = of_id(
        strike("small_low", 12), strike("long_low", 13, reach=30), strike("both_ways", 14, tracks=frozenset({"right"})),
        strike("mid_swing", 10, level="mid", active=6),
    )  # fmt: skip
    return Pack(
        id="quay", name="Quay", version="1",
        conventions=Conventions(
            levels={"low": LOW, "mid": MID}, distances={"near": 5, "off": 20},
            knockdowns={"flat": Knockdown(id="flat", wake_ups=tuple(m.id for m in ways))},
        ),
        system=of_id(
            option("guard", "guard", total=FOREVER, guard=(Guard(span=RUN, guards=frozenset({"standing"})),))
        ),
        wake_ups=of_id(*ways),
        characters={
            "ada": Character(id="ada", name="Ada", health=100.0, moves=mine),
            "bo": Character(id="bo", name="Bo", health=100.0, moves=of_id(up)),
        },
    )  # fmt: skip


FOUR = ["stay_down", "roll_left", "roll_right", "up_swing"]


def asked(pack: Pack, **more: Any) -> CoverageAnswer:
    body = {
        "me": {"character": "ada"}, "them": {"character": "bo"}, "distance": "near", "replies": FOUR,
        "moment": {"kind": "knockdown", "floored": "them", "state": "flat", "frames": 8}, **more,
    }  # fmt: skip
    return coverage(pack, shelf().rules, shelf().evaluator, msgspec.convert(body, Coverage))


def row(answer: CoverageAnswer, name: str) -> Row:
    return next(r for r in answer.rows if r.option == name)


def verdicts(found: Row) -> dict[str, str]:
    return {cell.reply: cell.verdict for cell in found.cells}


def test_a_small_low_covers_three_of_four_ways_up() -> None:
    """It hits stay down and one roll, beats the rising attack, misses the other roll (common practice, no source)."""
    small = row(asked(quay()), "small_low")
    assert (small.covered, small.of) == (3, 4)
    assert small.covers == ["stay_down", "roll_left", "up_swing"]
    right = next(c for c in small.cells if c.reply == "roll_right")
    assert "covers" not in small.loses_to
    # begun at once it lands on frame 12, own frame 4 of the roll, and is stepped past up to own frame 24
    assert all(run.first >= 8 + 25 - 13 for run in right.covers)


def test_reach_decides_before_frames() -> None:
    """Far away the faster low misses and the slower, longer one lands (common practice, no published source)."""
    answer = asked(quay(), distance="off", responses=["small_low", "long_low"], delays=0)
    assert [r.option for r in answer.rows] == ["long_low", "small_low"]
    assert row(answer, "long_low").covered == 3
    # out of reach it wins nothing but what a rising attack that misses as well gives away afterwards
    short = row(answer, "small_low")
    assert short.covers == ["up_swing"]
    assert not [w for cell in short.cells for w in cell.windows if w.by == "me"]


def test_another_option_beats_what_the_first_does_not() -> None:
    answer = asked(quay(), responses=["small_low", "both_ways"])
    small = row(answer, "small_low")
    partner = small.partners[0]
    assert partner.option == "both_ways"
    assert partner.covers == ["roll_right"]
    assert partner.of == len(small.loses_to or small.left)


def test_width_is_what_is_left_over_all_chosen_replies() -> None:
    """Against a guard that comes up on own frame 9, on frame 17: a swing of 12-13 may wait 4 frames, not 5."""
    answer = asked(quay(), replies=["late_guard", "stay_down"], responses=["small_low"], spread=2.0)
    small = answer.rows[0]
    assert small.covers == ["late_guard", "stay_down"]
    assert small.windows == [FrameRun(first=0, last=4)]
    assert (small.width, small.aim) == (5, 2)
    assert small.success == success_of(5, 2.0)
    assert "0-4" in small.sentence and "5 frames" in small.sentence


def test_only_the_chosen_replies_count() -> None:
    answer = asked(quay(), cover=["stay_down"], responses=["small_low"])
    small = answer.rows[0]
    assert (small.covered, small.of) == (1, 1)
    assert len(small.cells) == len(FOUR)
    assert [head.reply for head in answer.replies if head.chosen] == ["stay_down"]
    assert small.width > row(asked(quay(), responses=["small_low"]), "small_low").width


def test_on_the_ground_they_time_it() -> None:
    """The low finds who stays down at any timing, the mid never; who guards late is beaten by few timings only."""
    body = {
        "me": {"character": "bo"}, "them": {"character": "ada"}, "replies": ["small_low", "mid_swing"],
        "moment": {"kind": "knockdown", "floored": "me", "state": "flat", "frames": 8}, "delays": 20,
    }  # fmt: skip
    answer = asked(quay(), **body)
    assert answer.timed_by == "them"
    down = {cell.reply: cell for cell in row(answer, "stay_down").cells}
    assert down["small_low"].loses == [FrameRun(first=0, last=20)]
    assert {w.by for w in down["mid_swing"].windows} == {"none"}
    # the guard is up on frame 17: the low (12-13) can wait 4 frames, the mid (10-15) 6
    late = row(answer, "late_guard")
    assert [cell.loses for cell in late.cells] == [[FrameRun(first=0, last=4)], [FrameRun(first=0, last=6)]]
    assert [cell.width for cell in late.cells] == [5, 7]
    assert late.success is None
    assert "7 of their timings" in late.sentence
    order = [r.option for r in answer.rows]
    assert order.index("late_guard") < order.index("stay_down") < order.index("roll_left")


# Window in frames, spread in ms at 60 frames a second, chance to hit: value recomputed from the normal distribution.
CHANCES = [
    (5, (0.9044, 0.9991, 1.0)), (8, (0.7024, 0.9628, 0.9982)), (10, (0.5953, 0.9044, 0.9876)),
    (15, (0.4215, 0.7335, 0.9044)), (20, (0.3231, 0.5953, 0.7887)), (25, (0.2611, 0.4950, 0.6827)),
    (30, (0.2188, 0.4215, 0.5953)),
]  # fmt: skip


@pytest.mark.parametrize(("spread", "chances"), CHANCES)
def test_chance_to_hit_a_window(spread: float, chances: tuple[float, ...]) -> None:
    for width, chance in enumerate(chances, 1):
        found = success_of(width, spread / (1000 / 60))
        assert found == pytest.approx(chance, abs=6e-5)


@pytest.mark.parametrize(
    ("chance", "spread"), [(0.5, 12.355), (0.8, 6.503), (0.9, 5.066), (0.95, 4.252), (0.99, 3.235)]
)
def test_spread_that_a_just_frame_asks(chance: float, spread: float) -> None:
    """Value recomputed."""
    assert success_of(1, spread / (1000 / 60)) == pytest.approx(chance, abs=2e-4)


def test_no_spread_no_chance_and_an_empty_window_is_never_hit() -> None:
    assert success_of(3, None) is None
    assert success_of(0, 1.0) == 0.0


def test_the_best_timing_covers_most_then_is_widest() -> None:
    def run(first: int, last: int) -> list[FrameRun]:
        return [FrameRun(first=first, last=last)]

    found = best_timing({"a": run(0, 9), "b": run(3, 4), "c": run(6, 9)})
    assert found.covers == ("a", "c")
    assert (found.width, found.aim) == (4, 7)
    assert best_timing({"a": []}).covers == ()


# Brute force over the demo pack: every delay by itself.

MOMENTS = [
    {"kind": "knockdown", "floored": "them", "state": "face_up", "frames": 14},
    {"kind": "knockdown", "floored": "them", "state": "lofted", "frames": 6},
    {"kind": "knockdown", "floored": "me", "state": "face_down", "frames": 18},
    {"kind": "blocked", "attacker": "them", "move": "cinder_knee"},
    {"kind": "neutral"},
]


@pytest.mark.parametrize("moment", MOMENTS)
def test_every_delay_has_the_verdict_that_the_rules_give_it(moment: dict[str, Any]) -> None:
    body = {"me": {"character": "wenna"}, "them": {"character": "marl"}, "moment": moment, "distance": "close"}
    request = msgspec.convert({**body, "delays": 40, "limit": 3}, Coverage)
    here = shelf()
    answer = coverage(here.pack, here.rules, here.evaluator, request)
    situation = settle(here.pack, msgspec.convert(body, Question))
    mine, theirs, further = ready(situation)
    grid = Grid(situation, 40, answer.timed_by)
    sides = {r.entry.key: r for r in [*theirs, *further]}
    assert len(answer.rows) == 3
    for found in answer.rows:
        me = next(r for r in mine if r.entry.key == found.option)
        for cell in found.cells:
            timed = grid.cell(me, sides[cell.reply])
            spread = [w for w in cell.windows for _ in range(w.first, w.last + 1)]
            pairs = [grid.pair(timed, delay) for delay in range(len(spread))]
            judged = judge_pairs(pairs, situation_record(situation), here.rules, here.evaluator)
            assert [w.verdict for w in spread] == [j.verdict for j in judged], (found.option, cell.reply)
            ends = [(p.exchange.by, p.exchange.effect) for p in pairs if p.exchange]
            assert [(w.by, w.effect) for w in spread] == ends, (found.option, cell.reply)


@pytest.mark.parametrize("floored", ["them", "me"])
def test_every_delay_ends_as_the_frame_walk_does(floored: str) -> None:
    characters = {"me": {"character": "ada"}, "them": {"character": "bo"}}
    replies: Any = [*FOUR, "late_guard"]
    if floored == "me":
        characters = {"me": {"character": "bo"}, "them": {"character": "ada"}}
        replies = "all"
    moment = {"kind": "knockdown", "floored": floored, "state": "flat", "frames": 8}
    answer = asked(quay(), **characters, moment=moment, replies=replies)
    known = {**quay().wake_ups, **quay().system}
    known |= {m.id: m for c in quay().characters.values() for m in c.moves.values()}
    seen = 0
    for found in answer.rows:
        for cell in found.cells:
            me, them = Body(known[found.option]), Body(known[cell.reply])
            if floored == "them":
                them = dataclasses.replace(them, free_at=8, held="knockdown")
            else:
                me = dataclasses.replace(me, free_at=8, held="knockdown")
            for window in cell.windows:
                for delay in range(window.first, window.last + 1):
                    late = {"me": dataclasses.replace(me, delay=delay), "them": dataclasses.replace(them, delay=delay)}
                    one, two = (late["me"], them) if floored == "them" else (me, late["them"])
                    true = walk(quay().conventions, one, two, 5)
                    assert (window.by, window.effect) == (true.by, true.effect), (found.option, cell.reply, delay)
                    seen += 1
    assert seen >= 1_000


def rows_of_the_demo() -> list[tuple[CoverageAnswer, Row]]:
    out = []
    here = shelf()
    for me in here.pack.characters:
        for them in list(here.pack.characters)[:2]:
            moment = {**MOMENTS[0], "frames": 4}
            body = {
                **STUDY.example, "me": {"character": me}, "them": {"character": them}, "moment": moment, "limit": 3
            }  # fmt: skip
            answer = coverage(here.pack, here.rules, here.evaluator, msgspec.convert(body, Coverage))
            assert len(answer.summary) <= 90
            out += [(answer, found) for found in answer.rows]
    return out


def test_rows_of_the_demo_hang_together() -> None:
    found = rows_of_the_demo()
    assert len(found) == 24
    for answer, one in found:
        names = [head.reply for head in answer.replies]
        assert [cell.reply for cell in one.cells] == names
        assert one.covered == len(one.covers) <= one.of
        assert sorted([*one.covers, *one.loses_to, *one.left]) == sorted(names)
        for run in one.windows:
            for cell in (c for c in one.cells if c.reply in one.covers):
                assert any(r.first <= run.first and run.last <= r.last for r in cell.covers)
        for cell in one.cells:
            assert cell.sentence and (cell.rule or cell.verdict == "unknown")
            assert [w.first for w in cell.windows] == [0, *(w.last + 1 for w in cell.windows[:-1])]
            assert bool(cell.covers) == any(w.verdict in WINS for w in cell.windows)
            assert bool(cell.hangs_on) <= (cell.verdict == "unknown")
        for partner in one.partners:
            assert set(partner.covers) <= set(one.loses_to or one.left)
    ranks = [(-one.covered, -one.width) for _, one in found]
    assert any(one.partners for _, one in found)
    assert all(ranks[i : i + 3] == sorted(ranks[i : i + 3]) for i in range(0, len(ranks), 3))


def test_on_the_ground_what_holds_never_loses() -> None:
    here = shelf()
    body = {**STUDY.example, "moment": {**MOMENTS[0], "floored": "me"}, "limit": 20}
    answer = coverage(here.pack, here.rules, here.evaluator, msgspec.convert(body, Coverage))
    assert answer.timed_by == "them"
    for one in answer.rows:
        for cell in one.cells:
            if cell.reply in one.covers:
                assert all(w.verdict in STANDS for w in cell.windows)
            assert (cell.reply in one.loses_to) == bool(cell.loses)


@pytest.mark.parametrize(
    ("more", "code", "pointer", "said"),
    [
        ({"cover": []}, "question-impossible", "/cover", "empty"),
        ({"cover": ["stay_dwn"]}, "option-unknown", "/cover/0", "stay_down"),
        ({"replies": "some"}, "value-invalid", "/replies", "key"),
        ({"replies": ["stay_dwn"]}, "option-unknown", "/replies/0", "stay_down"),
        ({"responses": ["small_lwo"]}, "option-unknown", "/responses/0", "small_low"),
        ({"me": {"character": "adda"}}, "character-unknown", "/me/character", "ada"),
        ({"distance": "neer"}, "distance-unknown", "/distance", "near"),
        ({"moment": {"kind": "knockdown", "floored": "them", "state": "flatt", "frames": 3}}, "knockdown-unknown",
         "/moment/state", "flat"),
    ],
)  # fmt: skip
def test_bad_input_is_named(more: dict[str, Any], code: str, pointer: str, said: str) -> None:
    with pytest.raises(AdvisorError) as caught:
        asked(quay(), **more)
    assert (caught.value.code, caught.value.pointer) == (code, pointer)
    assert said in f"{caught.value.message} {caught.value.help}"


@pytest.mark.parametrize("more", [{"delays": 121}, {"delays": -1}, {"spread": 0}, {"limit": 0}, {"delayz": 3}])
def test_what_is_out_of_bounds_is_no_request(more: dict[str, Any]) -> None:
    with pytest.raises(msgspec.ValidationError):
        msgspec.convert({**STUDY.example, **more}, Coverage)


def test_an_unknown_distance_leaves_cells_unknown_and_says_so() -> None:
    answer = asked(quay(), distance=None)
    cells = [c for r in answer.rows for c in r.cells if c.verdict == "unknown"]
    assert cells
    assert all(c.hangs_on for c in cells)
    assert any(m.property == "distance" for m in answer.missing)


def test_too_many_cells_are_cut_and_said(monkeypatch: pytest.MonkeyPatch) -> None:
    """The best rows stay: those cut off were the worse ones by contact alone."""
    whole = asked(quay())
    assert len(whole.rows) == whole.considered
    monkeypatch.setattr("advisor.studies.coverage.MOST_CELLS", 2 * len(FOUR))
    cut = asked(quay())
    assert (len(cut.rows), cut.judged, cut.considered) == (2, 2, whole.considered)
    assert cut.rows[0].option == whole.rows[0].option
    assert any(f"Only 2 of {whole.considered} rows" in caution for caution in cut.cautions)
    assert not any("Only" in caution for caution in whole.cautions)
