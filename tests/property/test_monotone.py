"""What must hold whatever a pack says: the data of the whole demo pack is changed at random, then four laws are tried.

Swapping the sides mirrors the outcome; a frame more never removes a guaranteed punish; an unknown property,
whatever it turns out to be, ends in one of the answers that were possible; an active window that is longer at
its end covers what it covered. Common practice, no published source.
"""

from __future__ import annotations

from collections import Counter
from functools import cache
from random import Random
from typing import Any

import msgspec

from advisor.advice import advise
from advisor.facts import Pair, Question, pair_of, ready, settle
from advisor.facts.question import Advantage, Blocked, Fighter, KnockedDown, Moment, Neutral
from advisor.pack.model import Move, Pack
from advisor.studies.coverage import Coverage, coverage
from advisor.studies.weighing import WINS
from advisor.timeline.contact import Attack
from advisor.timeline.exchange import _order
from advisor.timeline.side import Side
from tests.property.test_provenance import another, changed, random_question, sane, with_move
from tests.unit.advice.demo import shelf

EDITS = 60
"""Properties changed in a pack, some of them to unknown."""
PACKS = 24
TURN = {"me": "them", "them": "me"}
ROLES = {
    **TURN, "mine": "theirs", "theirs": "mine", "my_health": "their_health", "their_health": "my_health",
}
RULINGS = {"first": "second", "second": "first"}
LANDS = ("hit", "counter_hit")


@cache
def random_pack(seed: int) -> Pack:
    """The demo pack with many properties of its moves and system options changed."""
    rng = Random(seed)
    pack = shelf().pack
    for _ in range(EDITS):
        owner = rng.choice([None, *pack.characters])
        moves = pack.system if owner is None else pack.characters[owner].moves
        fresh, _ = changed(rng, pack, rng.choice(list(moves.values())))
        if sane(fresh):
            pack = with_move(pack, owner, fresh)
    return pack


def one_pair(pack: Pack, question: Question) -> Pair | None:
    """The only exchange of a question; None when my option cannot be used."""
    situation = settle(pack, question)
    mine, theirs, _ = ready(situation)
    return pair_of(situation, mine[0], theirs[0]) if len(mine) == len(theirs) == 1 else None


# --- swapping the sides -----------------------------------------------------------------------------


def mirrored_moment(moment: Moment) -> Moment:
    if isinstance(moment, Advantage):
        return msgspec.structs.replace(moment, frames=-moment.frames)
    if isinstance(moment, Neutral):
        return moment
    name = "floored" if isinstance(moment, KnockedDown) else "attacker"
    return msgspec.structs.replace(moment, **{name: TURN[getattr(moment, name)]})


def mirrored(pack: Pack, question: Question) -> tuple[Pack, Question]:
    """The same game and moment from the other side."""
    table = {
        (theirs, mine): RULINGS.get(word, word) for (mine, theirs), word in pack.conventions.same_frame.items()
    }
    other = msgspec.structs.replace(
        question, me=question.them, them=question.me, moment=mirrored_moment(question.moment),
        responses=question.replies, replies=question.responses,
    )
    return msgspec.structs.replace(pack, conventions=msgspec.structs.replace(pack.conventions, same_frame=table)), other


def told(pair: Pair) -> dict[str, Any]:
    """What is decided, as I would tell it."""
    exchange, outcome = pair.exchange, pair.outcome
    if exchange is None or outcome is None:
        return {"missing": set(pair.missing), "clock": exchange is None}
    return {
        "by": exchange.by, "effect": exchange.effect, "frame": exchange.frame, "posture": exchange.posture,
        "phase": exchange.phase, "breakable": exchange.breakable, "dealt": outcome.dealt, "taken": outcome.taken,
        "lead": outcome.advantage, "away": outcome.distance, "state": outcome.knockdown, "catch": outcome.catch,
        "mine": (outcome.my_punish, outcome.i_can_punish), "theirs": (outcome.their_punish, outcome.they_can_punish),
    }


def swapped(said: dict[str, Any]) -> dict[str, Any]:
    """The same as the other side would tell it."""
    if "by" not in said:
        return {**said, "missing": {".".join(ROLES.get(part, part) for part in n.split(".")) for n in said["missing"]}}
    lead = said["lead"]
    return {
        **said, "by": TURN.get(said["by"], said["by"]), "dealt": said["taken"], "taken": said["dealt"],
        "lead": None if lead is None else -lead, "mine": said["theirs"], "theirs": said["mine"],
    }


def test_swapping_the_sides_mirrors_every_outcome() -> None:
    rng = Random(1)
    seen: Counter[str] = Counter()
    for seed in range(PACKS):
        pack = random_pack(seed)
        for _ in range(70):
            question = random_question(rng, pack)
            if question.me.character == question.them.character:
                continue
            here, there = one_pair(pack, question), one_pair(*mirrored(pack, question))
            if here is None or there is None:
                continue
            assert told(here) == swapped(told(there)), question
            seen[here.exchange.effect if here.exchange else "no clock"] += 1
    assert all(seen[effect] >= 20 for effect in ("hit", "counter_hit", "blocked", "none", "unknown")), seen


# --- a frame more -------------------------------------------------------------------------------------


def guaranteed(pack: Pack, question: Question) -> set[str]:
    rules = shelf()
    found = advise(pack, rules.rules, rules.evaluator, question)
    return {response.option for response in found.responses if response.verdict == "guaranteed"}


def later_free(move: Move, frames: int) -> Move:
    """The move so much more negative on block, its recovery as much longer."""
    hit = move.hits[0]
    assert hit.on_block is not None
    hits = (msgspec.structs.replace(hit, on_block=hit.on_block - frames), *move.hits[1:])
    return msgspec.structs.replace(move, hits=hits, total=None if move.total is None else move.total + frames)


def test_a_frame_more_of_raw_advantage_removes_no_guaranteed_punish() -> None:
    rng = Random(2)
    grown = found = 0
    for seed in range(PACKS):
        pack = random_pack(seed)
        me, them = rng.sample(list(pack.characters), 2)
        distance = rng.choice((0.4, 0.9, 1.3, 2.0))
        before: set[str] | None = None
        for frames in range(rng.randint(6, 12), 27, rng.choice((1, 2, 3))):
            question = Question(
                me=Fighter(character=me, meter=100), them=Fighter(character=them), distance=distance, limit=400,
                moment=Advantage(frames=frames, held="recovery"),
            )
            now = guaranteed(pack, question)
            assert before is None or before <= now, f"pack {seed}, {me} at {distance}, +{frames}"
            grown += before is not None and now != before
            found += len(now)
            before = now
    assert grown >= PACKS and found >= 10 * PACKS


def test_a_move_that_is_a_frame_worse_keeps_every_guaranteed_punish_after_its_block() -> None:
    rng = Random(3)
    grown = kept = 0
    for seed in range(PACKS):
        pack = random_pack(seed)
        me, them = rng.sample(list(pack.characters), 2)
        moves = [
            m for m in pack.characters[them].moves.values()
            if m.hits and m.hits[0].on_block is not None and -24 <= m.hits[0].on_block <= -8
            and (m.airborne, m.crouching, m.invulnerable) == ((), (), ()) and not m.wakes_from
        ]
        if not moves:
            continue
        move = rng.choice(moves)
        question = Question(
            me=Fighter(character=me, meter=100), them=Fighter(character=them), distance=rng.choice((0.4, 0.8)),
            moment=Blocked(attacker="them", move=move.id), limit=400,
        )
        before: set[str] = set()
        for frames in (0, 1, 2, 4):
            now = guaranteed(with_move(pack, them, later_free(move, frames)), question)
            assert before <= now, f"pack {seed}, {me} after {move.id}, {frames} more"
            kept += len(before)
            grown += bool(before) and now != before
            before = now
    assert kept >= 100 and grown >= 5


# --- an unknown, whatever it turns out to be -----------------------------------------------------------


OWN = (
    "total", "airborne", "crouching", "invulnerable", "armour", "parry", "sidestep", "displacement", "counter_state"
)
OF_HIT = ("first_active", "active_stop", "level", "reach", "tags", "tracks", "breaks")


def with_value(move: Move, field: str, value: Any) -> Move:
    if field in OWN:
        return msgspec.structs.replace(move, **{field: value})
    hits = (msgspec.structs.replace(move.hits[0], **{field: value}), *move.hits[1:])
    return msgspec.structs.replace(move, hits=hits)


def known_fields(move: Move) -> list[str]:
    own = [name for name in OWN if getattr(move, name) is not None]
    return own + [name for name in OF_HIT if move.hits and getattr(move.hits[0], name) is not None]


def in_sequence(move: Move) -> bool:
    """Hits one after the other and over by the end of the move: no other value can be recorded."""
    stops = [0, *(hit.active_stop or 0 for hit in move.hits)]
    starts = [hit.first_active or 0 for hit in move.hits]
    return all(stop <= start for stop, start in zip(stops, starts, strict=False)) and (
        move.total is None or max(stops) <= move.total + 1
    )


def possible(pack: Pack, me: Side, them: Side, distance: int) -> set[tuple[str, str]]:
    """Every way in which the exchange can end."""
    away = (distance, distance, distance)
    mine = Attack(pack.conventions, me, them, away, "mine", "theirs")
    theirs = Attack(pack.conventions, them, me, away, "theirs", "mine")
    return {
        (by, effect)
        for a in mine.ways for b in theirs.ways
        for by, effect, _, _ in _order(pack.conventions, mine, theirs, a, b)
    }  # fmt: skip


def raw(rng: Random, pack: Pack) -> Question:
    """Two options from a raw advantage at a known distance."""
    me, them = rng.sample(list(pack.characters), 2)
    return Question(
        me=Fighter(character=me, meter=100), them=Fighter(character=them), distance=rng.choice((0.4, 0.9, 1.5)),
        moment=Advantage(frames=rng.randint(-14, 14), held="recovery"),
        responses=[rng.choice([*pack.system, *pack.characters[me].moves])],
        replies=[rng.choice([*pack.system, *pack.characters[them].moves])],
    )


def test_whatever_an_unknown_turns_out_to_be_was_possible() -> None:
    rng = Random(4)
    settled: Counter[str] = Counter()
    opened: Counter[str] = Counter()
    for seed in range(PACKS):
        pack = random_pack(seed)
        for _ in range(110):
            question = raw(rng, pack)
            assert question.responses is not None and isinstance(question.replies, list)
            owner: str | None
            role, owner, key = rng.choice((
                ("mine", question.me.character, question.responses[0]),
                ("theirs", question.them.character, question.replies[0]),
            ))  # fmt: skip
            owner = owner if key in pack.characters[owner].moves else None
            move = pack.system[key] if owner is None else pack.characters[owner].moves[key]
            field = rng.choice(known_fields(move) or ["total"])
            less = one_pair(with_move(pack, owner, with_value(move, field, None)), question)
            if less is None or less.exchange is None or less.me is None or less.them is None:
                continue
            distance = settle(pack, question).distance
            assert distance is not None
            ends = possible(pack, less.me, less.them, distance)
            true = getattr(move if field in OWN else move.hits[0], field)
            values = [another(rng, pack, field, true) for _ in range(3)]
            for value in [v for v in values if v is not None]:
                full = with_value(move, field, value)
                if not sane(full) or not in_sequence(full):
                    continue
                whole = one_pair(with_move(pack, owner, full), question)
                assert whole is not None and whole.exchange is not None
                assert whole.me is not None and whole.them is not None
                # With other unknowns left, all that remains possible was possible before.
                rest = possible(pack, whole.me, whole.them, distance)
                assert rest <= ends, f"pack {seed}, {role}.{field} = {value}: {rest - ends} in {question}"
                if less.exchange.decided:
                    settled[field] += 1
                    assert whole.exchange.decided
                    same = (whole.exchange.by, whole.exchange.effect) == (less.exchange.by, less.exchange.effect)
                    assert same, f"pack {seed}, {role}.{field} = {value} in {question}"
                else:
                    opened[field] += 1
    assert settled.total() >= 1_000 and opened.total() >= 300, (settled, opened)


# --- a longer active window --------------------------------------------------------------------------------


def lengthened(move: Move, frames: int) -> Move:
    """The last hit active for so many frames more, the move over no sooner."""
    hit = move.hits[-1]
    assert hit.active_stop is not None
    stop = hit.active_stop + frames
    total = None if move.total is None else max(move.total, stop - 1)
    return msgspec.structs.replace(
        move, hits=(*move.hits[:-1], msgspec.structs.replace(hit, active_stop=stop)), total=total
    )


def covered(pack: Pack, me: str, them: str, move: str, state: str, distance: float) -> set[tuple[str, int]]:
    """Replies and delays on which the attack lands and is covered by the rules."""
    rules = shelf()
    request = Coverage(
        me=Fighter(character=me, meter=100), them=Fighter(character=them), distance=distance, responses=[move],
        moment=KnockedDown(floored="them", state=state, frames=12), delays=40,
    )
    (row,) = coverage(pack, rules.rules, rules.evaluator, request).rows
    return {
        (cell.reply, delay)
        for cell in row.cells for w in cell.windows
        if w.by == "me" and w.effect in LANDS and w.verdict in WINS
        for delay in range(w.first, w.last + 1)
    }  # fmt: skip


def test_a_longer_active_window_covers_what_it_covered() -> None:
    rng = Random(5)
    kept = gained = 0
    for seed in range(PACKS):
        pack = random_pack(seed)
        state = rng.choice(list(pack.conventions.knockdowns))
        for _ in range(3):
            me, them = rng.sample(list(pack.characters), 2)
            moves = [
                m for m in pack.characters[me].moves.values()
                if m.hits and m.hits[-1].active_stop is not None and m.requires is None and not m.wakes_from
            ]
            move, distance = rng.choice(moves), rng.choice((0.4, 0.9))
            longer = with_move(pack, me, lengthened(move, rng.choice((1, 2, 5))))
            before, after = (covered(p, me, them, move.id, state, distance) for p in (pack, longer))
            assert before <= after, f"pack {seed}, {me} {move.id} on {them} {state}: {sorted(before - after)}"
            kept += len(before)
            gained += len(after - before)
    assert kept >= 1_000 and gained >= 50
