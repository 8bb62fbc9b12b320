"""No fact moves without naming what moved it: properties are changed one at a time in the demo data.

A change goes through the whole product, as an edit of the pack would: the changed move may be my
option, their reply, the move that just happened, or several of these at once. Each fact of the
records that comes out different must list the property in ``SOURCES``.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from random import Random
from typing import Any

import msgspec

from advisor.facts import SOURCES, Question
from advisor.facts.question import Advantage, Blocked, CounterHit, Fighter, HitLanded, Moment, Neutral, Whiffed
from advisor.pack.model import (
    Armour,
    Catch,
    Character,
    Displacement,
    FollowUp,
    Guard,
    Hit,
    Leaves,
    Move,
    Pack,
    Parry,
    Shield,
    Sidestep,
)
from advisor.units import Span
from tests.unit.advice.demo import Record, records_of, shelf

SEED = 20_311
PAIRS = 2_200
CHANGES_OF_A_PAIR = 3
LEAST_CHANGES = 5_000

HIT_FIELDS = {
    "first_active": "first_active", "active_stop": "active", "level": "level", "reach": "reach",
    "damage": "damage", "chip": "chip", "tags": "tags", "tracks": "tracking", "breaks": "breaks",
    "on_block": "on_block", "on_hit": "on_hit", "on_counter_hit": "on_counter_hit",
    "blockstun": "blockstun", "hitstun": "hitstun", "pushback_block": "pushback",
    "pushback_hit": "pushback", "leaves_block": "leaves", "leaves_hit": "leaves",
    "leaves_counter_hit": "leaves",
}  # fmt: skip
MOVE_FIELDS = (
    "total", "airborne", "crouching", "invulnerable", "armour", "parry", "guard", "sidestep",
    "displacement", "counter_state", "tags", "requires", "follow_ups", "cost",
)  # fmt: skip
COMPOSED = {
    ("blocked", "on_block"): ("lead",), ("blocked", "blockstun"): ("stun",),
    ("hit", "on_hit"): ("lead",), ("hit", "hitstun"): ("stun",),
    # The stun of a counter-hit is the hit's, longer by what the counter-hit gives more.
    ("counter_hit", "on_counter_hit"): ("lead", "stun"), ("counter_hit", "hitstun"): ("stun",),
    ("counter_hit", "on_hit"): ("stun",),
    ("whiffed", "total"): ("lead",), ("whiffed", "active"): ("lead",),
}  # fmt: skip
"""Names in ``SOURCES`` for what a moment's outcome is worked out from, by moment and property."""
MOMENTS = {Blocked: "blocked", HitLanded: "hit", CounterHit: "counter_hit", Whiffed: "whiffed"}


# --- a random question, of one pair -------------------------------------------------------------


def random_option(rng: Random, pack: Pack, character: Character, follow_ups: list[FollowUp]) -> str:
    """A move of the character, a system option, or often a follow-up of what just happened."""
    if follow_ups and rng.random() < 0.4:
        follow = rng.choice(follow_ups)
        if follow.arrives is not None and len(follow.arrives) > 1 and rng.random() < 0.5:
            return f"{follow.move}@{follow.arrives.stop - 1}"
        return follow.move
    if rng.random() < 0.35:
        return rng.choice(list(pack.system))
    return rng.choice(list(character.moves))


def random_question(rng: Random, pack: Pack) -> Question:
    me, them = (rng.choice(list(pack.characters.values())) for _ in range(2))
    attacker = rng.choice(("me", "them"))
    striker = me if attacker == "me" else them
    follow_ups: list[FollowUp] = []
    moment: Moment
    if rng.random() < 0.12:
        held: Any = rng.choice(("recovery", "blockstun", "hitstun"))
        moment = Neutral() if rng.random() < 0.5 else Advantage(frames=rng.randint(-15, 15), held=held)
    else:
        attacks = [m for m in striker.moves.values() if m.hits]
        strings = [m for m in attacks if m.follow_ups]
        parent = rng.choice(strings if rng.random() < 0.4 else attacks)
        kind: Any = rng.choice(list(MOMENTS))
        moment = kind(attacker=attacker, move=parent.id)
        result = {"blocked": "block", "whiffed": "whiff"}.get(MOMENTS[kind], MOMENTS[kind])
        follow_ups = [follow for follow in parent.follow_ups if result in follow.on]
    mine = random_option(rng, pack, me, follow_ups if attacker == "me" else [])
    theirs = random_option(rng, pack, them, follow_ups if attacker == "them" else [])
    return Question(
        me=Fighter(
            character=me.id, health=rng.choice((None, 20.0)), meter=100, near_wall=rng.choice((None, False, True))
        ),
        them=Fighter(
            character=them.id, health=rng.choice((None, 20.0)), near_wall=rng.choice((None, False, True))
        ),
        floor_breaks=rng.choice((None, False, True)),
        moment=moment,
        distance=rng.choice((None, 0.4, 0.8, 1.2, 1.8, 2.6)),
        responses=[mine],
        replies=[theirs],
    )


# --- one property changed ---------------------------------------------------------------------------


def another(rng: Random, pack: Pack, name: str, value: Any) -> Any:
    """Another value of a property: unknown, or a known one."""
    conventions = pack.conventions
    if value is not None and rng.random() < 0.4:
        return None
    start = rng.randint(1, 20)
    span = Span(start, start + rng.randint(1, 12))
    tags = frozenset(rng.sample(sorted(conventions.tags), rng.randint(0, 2)))
    every = Catch()
    number = value if isinstance(value, int | float) else 10
    windows: dict[str, Any] = {
        "airborne": span, "crouching": span, "counter_state": span, "invulnerable": Shield(span=span, to=every),
        "armour": Armour(span=span, to=every), "parry": Parry(span=span, catches=every),
        "sidestep": Sidestep(span=span, side=rng.choice(("left", "right"))),
        "displacement": Displacement(span=span, step=rng.randint(-90_000, 90_000)),
    }  # fmt: skip
    if name in windows:
        return () if value and rng.random() < 0.4 else (windows[name],)
    if name.startswith("leaves"):
        knockdown = rng.choice([None, *conventions.knockdowns])
        return Leaves(
            knockdown=knockdown, distance=rng.choice((None, 400_000, -300_000)),
            wall=rng.choice([None, "none", *conventions.wall_effects]),
            floor=rng.choice([None, "none", "none", *conventions.floor_effects]),
        )  # fmt: skip
    if name in ("reach", "pushback_block", "pushback_hit"):
        return max(0, (value or 800_000) + rng.choice((-600_000, -200_000, 150_000, 700_000)))
    simple: dict[str, Any] = {
        "level": rng.choice(list(conventions.levels)), "tags": tags,
        "tracks": frozenset(rng.sample(("left", "right"), rng.randint(0, 2))),
        "breaks": frozenset(rng.sample(sorted(conventions.throw_breaks), rng.randint(0, 1))),
        "damage": max(0, number + rng.choice((-7, 9, 160))), "chip": number + 3,
        "guard": () if value else (Guard(span=span, guards=frozenset(conventions.guards)),),
    }  # fmt: skip
    if name in simple:
        return simple[name]
    step = rng.choice((-9, -4, -1, 1, 3, 8))
    if name.startswith("on_"):
        return (value or 0) + step
    return max(1, (value or 15) + step)


def changed(rng: Random, pack: Pack, move: Move) -> tuple[Move, str]:
    """The move with one property changed, and the name of that property."""
    if move.hits and rng.random() < 0.65:
        field = rng.choice(list(HIT_FIELDS))
        at = rng.choice((0, -1))
        hits = list(move.hits)
        hits[at] = msgspec.structs.replace(
            hits[at], **{field: another(rng, pack, field, getattr(hits[at], field))}
        )
        return msgspec.structs.replace(move, hits=tuple(hits)), HIT_FIELDS[field]
    field = rng.choice(MOVE_FIELDS)
    if field == "requires":
        return msgspec.structs.replace(move, requires=None), "requires"
    if field == "follow_ups":
        return msgspec.structs.replace(move, follow_ups=tuple(_later(rng, move))), "arrives"
    value = getattr(move, field)
    fresh = another(rng, pack, field, value)
    if fresh is None and field in ("guard", "tags"):
        fresh = type(value)()
    return msgspec.structs.replace(move, **{field: fresh}), field


def _later(rng: Random, move: Move) -> Iterator[Any]:
    """The follow-ups, those that are timed from the contact some frames later or at an unknown frame."""
    by = rng.choice((-2, 1, 4))
    unknown = rng.random() < 0.3
    for follow in move.follow_ups:
        span = follow.arrives
        later = None if unknown else Span(max(1, span.start + by), span.stop + by) if span else None
        yield msgspec.structs.replace(follow, arrives=later, begins=None if unknown else follow.begins)


def sane(move: Move) -> bool:
    """Windows in order: a change that gives an active window no frame is not one a pack may hold."""
    return all(None in (h.first_active, h.active_stop) or _in_order(h) for h in move.hits)


def _in_order(hit: Hit) -> bool:
    assert hit.first_active is not None
    assert hit.active_stop is not None
    return 1 <= hit.first_active < hit.active_stop


def with_move(pack: Pack, owner: str | None, move: Move) -> Pack:
    """The pack with this move in the place of its namesake; an owner of None is the system."""
    if owner is None:
        return msgspec.structs.replace(pack, system={**pack.system, move.id: move})
    character = pack.characters[owner]
    fresh = msgspec.structs.replace(character, moves={**character.moves, move.id: move})
    return msgspec.structs.replace(pack, characters={**pack.characters, owner: fresh})


# --- what may move ---------------------------------------------------------------------------------


def owners(pack: Pack, question: Question) -> dict[str, tuple[str | None, Move]]:
    """Role (mine, theirs, moment) to whose move it is, and the move."""
    out: dict[str, tuple[str | None, Move]] = {}
    assert question.responses is not None
    assert isinstance(question.replies, list)
    for role, fighter, key in (
        ("mine", question.me, question.responses[0]),
        ("theirs", question.them, question.replies[0]),
    ):
        name = key.partition("@")[0]
        own = pack.characters[fighter.character].moves
        out[role] = (fighter.character, own[name]) if name in own else (None, pack.system[name])
    moment = question.moment
    if not isinstance(moment, Advantage | Neutral):
        fighter = question.me if moment.attacker == "me" else question.them
        out["moment"] = (fighter.character, pack.characters[fighter.character].moves[moment.move])
    return out


def names(question: Question, found: dict[str, tuple[str | None, Move]], role: str, prop: str) -> set[str]:
    """The names in ``SOURCES`` that a change of ``prop`` of the move in ``role`` may go by."""
    owner, move = found[role]
    out: set[str] = set()
    for other, (whose, same) in found.items():
        if (whose, same.id) != (owner, move.id):
            continue
        out.add(f"{other}.{prop}")
        if other == "moment":
            kind = MOMENTS[type(question.moment)]  # type: ignore[index]
            out |= {f"moment.{name}" for name in COMPOSED.get((kind, prop), ())}
            if prop == "arrives":
                out |= {"mine.arrives", "theirs.arrives"}
    for side, fighter in (("me", question.me), ("them", question.them)):
        if fighter.character == owner and prop in ("first_active", "reach", "level", "requires", "cost"):
            out.add(f"{side}.attacks")
    return out


def delayed(question: Question) -> bool:
    """Whether an option is a follow-up at a stated frame, whose key a change of that frame would undo."""
    return any("@" in key for key in (*(question.responses or ()), *(question.replies or ())))


def moved(before: tuple[Record, list[Record]], after: tuple[Record, list[Record]]) -> set[str]:
    """Names of the facts that differ; 1 and True, or 1 and 1.0, differ as well."""
    one = {**before[0], **before[1][0]}
    two = {**after[0], **after[1][0]}
    return {
        name for name in {*one, *two}
        if name not in one or name not in two or (one[name], type(one[name])) != (two[name], type(two[name]))
    }


def test_every_fact_that_moves_names_the_property() -> None:
    rng = Random(SEED)
    pack = shelf().pack
    changes = 0
    moves_seen: Counter[str] = Counter()
    silent: Counter[tuple[str, str, str]] = Counter()
    example: dict[tuple[str, str, str], str] = {}
    for _ in range(PAIRS):
        question = random_question(rng, pack)
        before = records_of(pack, question)
        found = owners(pack, question)
        for _ in range(CHANGES_OF_A_PAIR):
            role = rng.choice(list(found))
            owner, move = found[role]
            fresh, prop = changed(rng, pack, move)
            if fresh == move or not sane(fresh) or (prop == "arrives" and delayed(question)):
                continue
            after = records_of(with_move(pack, owner, fresh), question)
            changes += 1
            allowed = names(question, found, role, prop)
            for fact in moved(before, after):
                moves_seen[fact] += 1
                if not allowed & set(SOURCES.get(fact, ())):
                    key = (fact, role, prop)
                    silent[key] += 1
                    example.setdefault(key, f"{question}\n    {move.id}: {prop} changed")
    assert changes >= LEAST_CHANGES
    shown = [f"{fact} moves with {role}.{prop} ({n} times)" for (fact, role, prop), n in silent.most_common()]
    first = next(iter(example.values()), "")
    assert not silent, f"{len(silent)} of {changes} changes\n" + "\n".join(shown) + f"\n\nfor one:\n{first}"
    # Agreement on facts that never move would prove nothing.
    fixed = {"situation.moment", "situation.attacker", "situation.move", "situation.move_name"}
    fixed |= {f"{role}.{name}" for role in ("mine", "theirs") for name in ("option", "name", "kind", "is_follow_up")}
    fixed |= {"situation.my_health", "situation.their_health"}
    never = set(SOURCES) - set(moves_seen) - fixed
    # What a catch leads to is a name; few changes turn one catch into another.
    assert never <= {"exchange.catch_name"}, f"no change moved {sorted(never)}"
