"""What must hold of advice whatever the data are, tried on the demo pack."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from itertools import product
from random import Random
from typing import Any

import msgspec
import pytest

from advisor.advice import Advice, advise
from advisor.facts import Question
from advisor.facts.question import Advantage, Blocked, Fighter, HitLanded, Moment
from advisor.pack.model import Move, Pack
from tests.property.test_provenance import HIT_FIELDS, MOMENTS, owners, random_question, with_move
from tests.unit.advice.demo import shelf

SEED = 40_507
BLANKS = 4_000
HELD_BACK = ("leaves_block", "leaves_hit", "leaves_counter_hit")
"""A move that leaves nothing beside its advantage has no `leaves`, so without it nothing is unknown."""


def answered(pack: Pack, question: Question) -> Advice:
    at_hand = shelf()
    return advise(pack, at_hand.rules, at_hand.evaluator, question)


# --- more advantage never takes a punish away ------------------------------------------------------

FIGHTERS = ("ilko", "ketterby", "marl", "wenna")


def guaranteed(me: str, them: str, frames: int, distance: float) -> set[str]:
    asked = Question(
        me=Fighter(character=me, meter=100), them=Fighter(character=them),
        moment=Advantage(frames=frames, held="recovery"), distance=distance, limit=400,
    )  # fmt: skip
    return {r.option for r in answered(shelf().pack, asked).responses if r.verdict == "guaranteed"}


@pytest.mark.parametrize("me", FIGHTERS)
def test_a_frame_more_never_removes_a_guaranteed_punish(me: str) -> None:
    grown = 0
    for them, distance in zip(FIGHTERS, (0.4, 0.9, 1.3, 2.0), strict=True):
        before: set[str] = set()
        for frames in range(8, 27):
            now = guaranteed(me, them, frames, distance)
            assert before <= now, f"{me} on {them} at {distance}, +{frames}: lost {sorted(before - now)}"
            grown += now != before
            before = now
        assert before, f"nothing is guaranteed at +26 and {distance}"
    assert grown >= 12


@pytest.mark.parametrize("me", FIGHTERS)
def test_nearer_never_removes_a_punish_of_a_move_that_stands_still(me: str) -> None:
    """Options that do not step themselves: what reaches from afar reaches from near by."""
    still = {m.id for m in shelf().pack.characters[me].moves.values() if m.displacement == () and len(m.hits) == 1}
    before: set[str] = set()
    for distance in (3.5, 2.5, 1.8, 1.2, 0.8, 0.4, 0.0):
        now = guaranteed(me, "marl", 20, distance) & still
        assert before <= now, f"{me} at {distance}: lost {sorted(before - now)}"
        before = now
    assert len(before) >= 3


# --- a property less never makes a certain answer that the full data contradict ---------------------


def blanked(rng: Random, move: Move) -> tuple[Move, str]:
    """The move with one of its known properties unknown."""
    ways = [
        (i, field)
        for i, hit in enumerate(move.hits)
        for field in HIT_FIELDS
        if field not in HELD_BACK and getattr(hit, field) is not None
    ]
    own = [
        field
        for field in ("total", "airborne", "crouching", "invulnerable", "armour", "parry", "sidestep",
                      "displacement", "counter_state")
        if getattr(move, field) is not None
    ]  # fmt: skip
    if ways and rng.random() < 0.6:
        at, field = rng.choice(ways)
        hits = tuple(
            msgspec.structs.replace(hit, **{field: None}) if i == at else hit for i, hit in enumerate(move.hits)
        )
        return msgspec.structs.replace(move, hits=hits), field
    field = rng.choice(own)
    return msgspec.structs.replace(move, **{field: None}), field


def test_a_blank_makes_no_verdict_that_the_full_data_contradict() -> None:
    rng = Random(SEED)
    pack = shelf().pack
    kept: Counter[str] = Counter()
    opened: Counter[str] = Counter()
    wrong: Counter[str] = Counter()
    first: dict[str, str] = {}
    for _ in range(BLANKS):
        question = random_question(rng, pack)
        found = owners(pack, question)
        role = rng.choice(list(found))
        owner, move = found[role]
        partial, field = blanked(rng, move)
        full = answered(pack, question).responses[0].against[0]
        less = answered(with_move(pack, owner, partial), question).responses[0].against[0]
        if less.verdict == full.verdict:
            kept[less.verdict] += 1
        elif less.verdict in ("unknown", "in_range"):
            opened[full.verdict] += 1
        else:
            rules = [reason.rule for reason in less.reasons]
            key = f"{role}.{field} unknown: {full.verdict} turns into {less.verdict} by {', '.join(rules)}"
            wrong[key] += 1
            first.setdefault(key, f"{question}")
    shown = "\n".join(f"{n} x {key}\n    {first[key]}" for key, n in wrong.most_common(12))
    assert not wrong, f"{wrong.total()} of {BLANKS}\n{shown}"
    # It must keep some and open some of each, or the agreement is empty.
    for verdict in ("beats", "holds", "loses"):
        assert kept[verdict] >= 50, kept
        assert opened[verdict] >= 10, opened


# --- the order of moves in a file means nothing ------------------------------------------------------


def verdicts(advice: Advice) -> dict[str, str]:
    return {r.option: r.verdict for r in advice.responses}


def shuffled(rng: Random, pack: Pack) -> Pack:
    """The pack with the moves of every file, and the system options, in another order."""

    def mixed(moves: Mapping[str, Move]) -> dict[str, Move]:
        ids = rng.sample(list(moves), len(moves))
        return {key: moves[key] for key in ids}

    characters = {
        key: msgspec.structs.replace(character, moves=mixed(character.moves))
        for key, character in pack.characters.items()
    }
    return msgspec.structs.replace(pack, characters=characters, system=mixed(pack.system))


def test_the_order_of_moves_in_the_file_does_not_change_the_verdicts() -> None:
    rng = Random(SEED)
    pack = shelf().pack
    differing: list[str] = []
    for me, them in product(FIGHTERS, repeat=2):
        other = shuffled(rng, pack)
        attacks = [m.id for m in pack.characters[them].moves.values() if m.hits]
        kinds: list[Any] = list(MOMENTS)
        for move in rng.sample(attacks, 3):
            moment = rng.choice(kinds)(attacker="them", move=move)
            asked = Question(
                me=Fighter(character=me), them=Fighter(character=them), moment=moment,
                distance=rng.choice((None, 0.6, 1.4)), limit=400,
            )  # fmt: skip
            one, two = answered(pack, asked), answered(other, asked)
            if verdicts(one) != verdicts(two):
                changed = {k for k, v in verdicts(one).items() if verdicts(two).get(k) != v}
                differing.append(
                    f"{asked.moment} {me} {them}: {sorted(changed)} "
                    f"against {one.situation.replies} and {two.situation.replies}"
                )
    assert not differing, "\n".join(differing[:6])


# --- absent is never zero ---------------------------------------------------------------------------


def without(pack: Pack, owner: str, move: str, **blank: None) -> Pack:
    """The pack with properties of all hits of one move unknown."""
    known = pack.characters[owner].moves[move]
    hits = tuple(msgspec.structs.replace(hit, **blank) for hit in known.hits)
    return with_move(pack, owner, msgspec.structs.replace(known, hits=hits))


def test_unknown_damage_of_mine_is_nowhere_shown_as_zero() -> None:
    full = shelf().pack
    landed = 0
    for me, move in (("marl", "soot_jab"), ("ilko", "sting"), ("ketterby", "ladder_kick"), ("wenna", wenna_quick())):
        pack = without(full, me, move, damage=None)
        asked = Question(
            me=Fighter(character=me), them=Fighter(character="marl"), moment=Advantage(frames=18),
            distance=0.4, responses=[move], limit=1,
        )  # fmt: skip
        known, unknown = answered(full, asked), answered(pack, asked)
        response = unknown.responses[0]
        # Only the damage is gone: it is a punish all the same.
        assert (response.verdict, known.responses[0].verdict) == ("guaranteed", "guaranteed")
        assert known.responses[0].damage
        assert response.damage is None
        assert "damage" not in unknown.summary
        for against in response.against:
            if against.by == "me":
                landed += 1
                assert against.dealt is None
    assert landed >= 4


def wenna_quick() -> str:
    """Wenna's fastest free strike with a known reach of 0.4 or more."""
    levels = shelf().pack.conventions.levels
    moves = [
        m for m in shelf().pack.characters["wenna"].moves.values()
        if m.hits and m.requires is None and m.hits[0].first_active and (m.hits[0].reach or 0) >= 400_000
        and levels[m.hits[0].level or ""].kind == "strike" and m.hits[0].damage
    ]  # fmt: skip
    return min(moves, key=lambda m: m.hits[0].first_active or 0).id


def test_unknown_damage_of_theirs_is_no_risk_of_zero() -> None:
    """A response that is hit by a move of unknown damage takes an unknown amount, not none."""
    full = shelf().pack
    asked = Question(
        me=Fighter(character="ilko"), them=Fighter(character="marl"), moment=Advantage(frames=-9),
        distance=0.4, responses=["sting"], replies=["soot_jab"],
    )  # fmt: skip
    known = answered(full, asked).responses[0]
    assert (known.verdict, known.risk, known.against[0].taken) == ("loses", 8, 8)
    unknown = answered(without(full, "marl", "soot_jab", damage=None), asked).responses[0]
    assert (unknown.verdict, unknown.against[0].taken) == ("loses", None)
    assert unknown.risk != 0, "the risk of an unknown damage is shown as 0"


AFTER: list[Moment] = [
    Advantage(frames=20), Advantage(frames=20, held="hitstun"),
    Blocked(attacker="them", move="ash_sweep"), HitLanded(attacker="me", move="hot_palm"),
]  # fmt: skip


@pytest.mark.parametrize("distance", [None, 0.0, 0.4])
@pytest.mark.parametrize("moment", AFTER, ids=lambda m: type(m).__name__)
def test_unknown_reach_never_reaches(moment: Moment, distance: float | None) -> None:
    """At any distance the contact of an attack of unknown reach stays open, and what would decide is named."""
    full = shelf().pack
    moves = full.characters["marl"].moves.values()
    strikes = [m.id for m in moves if m.requires is None and len(m.hits) == 1]
    pack = full
    for move in strikes:
        pack = without(pack, "marl", move, reach=None)
    asked = Question(
        me=Fighter(character="marl", meter=100), them=Fighter(character="marl"), moment=moment,
        distance=distance, responses=strikes, replies=["guard"], limit=400,
    )  # fmt: skip
    won = sum(r.beats for r in answered(full, asked).responses)
    blank = answered(pack, asked)
    for response in blank.responses:
        against = response.against[0]
        assert not (against.by == "me" and against.effect in ("hit", "counter_hit", "blocked")), response.option
        assert response.verdict not in ("guaranteed", "in_range", "beats"), response.option
        assert not any(f.name == "exchange.reaches" and f.value for r in against.reasons for f in r.facts)
        if response.verdict == "unknown":
            assert any(m.property == "reach" for m in response.hangs_on), response.hangs_on
    assert any(r.verdict == "unknown" for r in blank.responses)
    assert won or distance is None
