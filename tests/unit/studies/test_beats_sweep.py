"""What may answer, against the frame-by-frame walk at every delay, and against the rules asked about everything."""

from __future__ import annotations

import random
from collections.abc import Iterator

import pytest

from advisor.facts import Entry, pair_of, ready
from advisor.facts.question import Fighter
from advisor.pack.model import Move
from advisor.studies.beats import Beats, BeatsAnswer, beats
from advisor.studies.beats_answer import AnswerRow
from advisor.studies.beats_chance import Chance, chances_of, runs_at
from advisor.studies.beats_stage import Asked, Stage, life
from advisor.studies.exposed import Exposed, exposed
from advisor.studies.weighing import WINS, Weigher
from advisor.timeline.side import Side
from advisor.units import to_micro
from tests.oracle.frame_walk import Body, Walked, walk
from tests.unit.advice.demo import shelf

MOST = 40
LANDS = ("hit", "counter_hit")
DISTANCES = (0.0, 0.4, 0.9, 1.3, 1.8)


def stages(count: int) -> Iterator[tuple[Stage, random.Random]]:
    """Attacks of the demo pack running against fighters of it, at seeded distances and advantages."""
    pack = shelf().pack
    rng = random.Random(8)
    attacks = [(c.id, m) for c in pack.characters.values() for m in c.moves.values() if m.hits]
    for _ in range(count):
        them, move = rng.choice(attacks)
        asked = Asked(
            pack=pack, them=Fighter(character=them), distance=to_micro(rng.choice(DISTANCES)),
            advantage=rng.choice((0, 0, -4, 3)), held="recovery",
        )
        me = Fighter(character=rng.choice(list(pack.characters)), meter=100)
        yield life(asked, me, move), rng


def body(side: Side, delay: int = 0) -> Body:
    return Body(side.option, free_at=side.free_at, held=side.held, delay=delay)


def answers(stage: Stage, move: Move, met: Walked, touched: bool) -> bool:
    """Whether what the walk saw counts as an answer; an attack that lands in a miss is a stage of its own."""
    if met.by == "me" and met.effect in LANDS:
        return touched or starting_up(stage, met.frame)
    if met.by == "them":
        return met.effect == "parried"
    return met.by == "none" and touched and move.kind == "movement"


def starting_up(stage: Stage, frame: int | None) -> bool:
    hit = stage.theirs.move.hits[0]
    sides = stage.sides(stage.theirs)
    assert frame is not None and hit.first_active is not None and sides is not None
    them = sides[1]
    return them.free_at < frame < them.free_at + hit.first_active


def walked(stage: Stage, entry: Entry) -> tuple[set[int], int] | None:
    """The delays on which the walk says that the option answers, and the last one that was asked.

    None where the walk would need a property that is unknown, or there is nothing to walk.
    """
    sides = stage.sides(entry)
    situation, stands = stage.situation, stage.stands
    assert sides is not None and situation.distance is not None
    if entry.move.kind == "guard" or stands is None or not stands.decided:
        return None
    me, them = sides
    touched = stands.by == "them"
    last = MOST if not touched else min(MOST, max(0, (stands.frame or 0) - me.free_at))
    found = set()
    try:
        for delay in range(last + 1):
            met = walk(situation.pack.conventions, body(me, delay), body(them), situation.distance)
            if answers(stage, entry.move, met, touched):
                found.add(delay)
    except (ValueError, TypeError):
        return None
    return found, last


def frames(chances: list[Chance], stage: Stage) -> set[int]:
    """The delays of chances that are sure, each with its runs worked out in full."""
    out = set()
    for chance in chances:
        runs = chance.runs if chance.how == "evades" else runs_at(stage, chance)
        out |= {delay for run in runs for delay in range(run.first, run.last + 1)}
    return out


@pytest.mark.parametrize("lazy", [False, True])
def test_chances_are_what_the_walk_says_at_every_delay(lazy: bool) -> None:
    compared = answered = 0
    for stage, rng in stages(80):
        by_key: dict[str, list[Chance]] = {}
        for chance in chances_of(stage, MOST, lazy=lazy):
            by_key.setdefault(chance.entry.key, []).append(chance)
        for entry in rng.sample(stage.situation.responses, 12):
            seen = walked(stage, entry)
            if seen is None:
                continue
            delays, last = seen
            told = frames(by_key.get(entry.key, []), stage)
            assert told == delays, (stage.step.id, entry.key, stage.situation.distance)
            compared += last + 1
            answered += len(delays)
    assert compared > 5_000
    assert answered > 500


def asked(move: str, them: str, me: str | None, **more: object) -> BeatsAnswer:
    at_hand = shelf()
    fighter = None if me is None else Fighter(character=me)
    request = Beats(them=Fighter(character=them), me=fighter, moves=[move], limit=200, **more)  # type: ignore[arg-type]
    return beats(at_hand.pack, at_hand.rules, at_hand.evaluator, request)


def pairs(count: int, seed: int) -> Iterator[tuple[str, str, str]]:
    rng = random.Random(seed)
    characters = list(shelf().pack.characters.values())
    for _ in range(count):
        them, me = rng.choice(characters), rng.choice(characters)
        yield rng.choice([m.id for m in them.moves.values() if m.hits]), them.id, me.id


def test_whatever_the_rules_let_win_at_once_is_listed() -> None:
    at_hand = shelf()
    wins = 0
    for move, them, me in pairs(40, seed=3):
        found = {row.option for row in asked(move, them, me, distance="close").rows if row.covers}
        stage = life(
            Asked(pack=at_hand.pack, them=Fighter(character=them), distance=to_micro(0.9)), Fighter(character=me),
            at_hand.pack.characters[them].moves[move],
        )
        ours, theirs, _ = ready(stage.situation)
        pairs_ = [pair_of(stage.situation, one, theirs[0]) for one in ours]
        judged = Weigher(stage.situation, at_hand.rules, at_hand.evaluator).judge(pairs_)
        for pair, one in zip(pairs_, judged, strict=True):
            assert pair.exchange is not None
            lands = pair.exchange.by == "me" or pair.exchange.effect == "parried"
            if one.verdict in WINS and lands:
                assert pair.mine.key in found, (move, them, me, pair.mine.key)
                wins += 1
    assert wins > 100


def key(row: AnswerRow) -> tuple[object, ...]:
    return row.option, row.when, row.verdict, row.damage, row.delay, row.window


def test_the_roster_says_of_each_character_what_it_says_alone() -> None:
    for move, them, _ in pairs(4, seed=5):
        together = asked(move, them, None, distance="close")
        for me in shelf().pack.characters:
            alone = asked(move, them, me, distance="close")
            assert {key(r) for r in alone.rows if r.covers} == {
                key(r) for r in together.rows if r.covers and r.character == me
            }


def test_works_to_is_the_last_distance_at_which_the_verdict_stands() -> None:
    checked = 0
    for move, them, me in pairs(12, seed=9):
        for row in asked(move, them, me, distance="touching", when=["before"]).rows:
            limit = row.cells[0].works_to
            if row.covers and limit is not None and row.damage is not None:
                at = asked(move, them, me, distance=limit)
                beyond = asked(move, them, me, distance=limit + 0.001, when=["before"])
                assert row.option in {r.option for r in at.rows if r.covers}
                assert row.option not in {r.option for r in beyond.rows if r.covers}
                checked += 1
    assert checked > 20


def test_who_punishes_me_is_who_beats_me_after_a_block() -> None:
    at_hand = shelf()
    punished = 0
    for move, me, them in pairs(30, seed=11):
        request = Exposed(me=Fighter(character=me), them=Fighter(character=them), moves=[move], distance="touching")
        found = exposed(at_hand.pack, at_hand.rules, at_hand.evaluator, request)
        theirs = {p.option: p.works_to for row in found.moves for p in row.by}
        beaten = asked(move, me, them, distance="touching", when=["after_block"])
        sure = {r.option: r.cells[0].works_to for r in beaten.rows if r.verdict == "guaranteed"}
        assert {k: v for k, v in theirs.items() if k in sure} == sure
        assert set(theirs) == set(sure)
        punished += len(sure)
        assert all(p.verdict == "loses" for row in found.moves for p in row.by)
    assert punished > 30
