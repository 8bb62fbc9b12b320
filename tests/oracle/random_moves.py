"""Seeded random conventions, moves, sides and distances with nothing left unknown.

Numbers are small and on coarse grids so that equal frames, equal distances and touching windows,
where off-by-one errors live, come up all the time.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from random import Random
from typing import TypeVar

import msgspec

from advisor.pack.model import (
    Armour,
    Catch,
    Conventions,
    Displacement,
    Guard,
    Hit,
    Level,
    Move,
    Parry,
    Shield,
    Sidestep,
)
from advisor.units import FOREVER, Span, from_micro
from tests.oracle.frame_walk import Body

__all__ = ["Meeting", "random_conventions", "random_meeting", "random_move", "shown"]

T = TypeVar("T")

TAGS = ("hand", "foot", "elbow", "weapon")
SIDES = ("left", "right")
POSTURES = ("standing", "crouching", "airborne", "grounded")
PHASES = ("free", "recovery", "blockstun", "hitstun", "knockdown", "startup", "active", "moving", "guarding")
RULINGS = ("trade", "first", "second", "break")
COVERS = ("parry", "parry", "armour", "guard", "guard", "guard", "sidestep")
TENTH = 100_000

USUAL_LEVELS = (
    Level(id="high", hits=frozenset({"standing", "airborne"}), blocked_by=frozenset({"standing", "crouching"})),
    Level(id="mid", hits=frozenset(POSTURES), blocked_by=frozenset({"standing"})),
    Level(id="low", hits=frozenset({"standing", "crouching", "grounded"}), blocked_by=frozenset({"crouching"})),
    Level(id="throw", hits=frozenset({"standing"}), blocked_by=frozenset(), kind="throw"),
    Level(id="low_throw", hits=frozenset({"standing", "crouching"}), blocked_by=frozenset(), kind="throw"),
    Level(id="ground_throw", hits=frozenset({"grounded"}), blocked_by=frozenset(), kind="throw"),
    Level(id="unblockable", hits=frozenset(POSTURES), blocked_by=frozenset()),
)
LEVEL_IDS = (*(level.id for level in USUAL_LEVELS), "odd")
THROWS = ("throw", "low_throw", "ground_throw")


@dataclass(frozen=True)
class Meeting:
    """One random exchange: all that decides it."""

    seed: int
    conventions: Conventions
    me: Body
    them: Body
    distance: int


def some(rng: Random, words: Sequence[str], chance: float) -> frozenset[str]:
    return frozenset(word for word in words if rng.random() < chance)


def maybe(rng: Random, chance: float, value: T, otherwise: T) -> T:
    return value if rng.random() < chance else otherwise


def random_catch(rng: Random) -> Catch:
    if rng.random() < 0.4:
        return Catch()
    return Catch(levels=some(rng, LEVEL_IDS, 0.4), tags=some(rng, TAGS, 0.3))


def random_conventions(rng: Random) -> Conventions:
    """Usual levels and one odd one; a random, often partial, same-frame table."""
    odd = Level(
        id="odd",
        hits=some(rng, POSTURES, 0.7),
        blocked_by=some(rng, ("standing", "crouching"), 0.4),
        kind=maybe(rng, 0.7, "strike", "throw"),
    )
    kinds = [(mine, theirs) for mine in ("strike", "throw") for theirs in ("strike", "throw")]
    return Conventions(
        levels={level.id: level for level in (*USUAL_LEVELS, odd)},
        guards={guard: guard for guard in sorted(some(rng, ("standing", "crouching"), 0.9))},
        same_frame={pair: rng.choice(RULINGS) for pair in kinds if rng.random() < 0.4},
        counter_hit=some(rng, ("startup", "active", "recovery"), 0.5),
        breakable_in=some(rng, PHASES, 0.6),
        blockstun_immune=maybe(rng, 0.5, None, random_catch(rng)),
    )


def random_span(rng: Random, total: int) -> Span:
    """A non-empty run within 1 to ``total``."""
    start = rng.randint(1, total)
    return Span(start, rng.randint(start, min(total, start + 12)) + 1)


def random_spans(rng: Random, total: int, chance: float) -> tuple[Span, ...]:
    if rng.random() >= chance:
        return ()
    count = maybe(rng, 0.75, 1, 2)
    return tuple(sorted(random_span(rng, total) for _ in range(count)))


def random_hit(rng: Random, first_active: int, level: str) -> Hit:
    reach = maybe(rng, 0.85, rng.randint(8, 25), rng.randint(0, 10)) * TENTH
    return Hit(
        first_active=first_active,
        active_stop=first_active + rng.choice((1, 1, 2, 2, 3, 5)),
        level=level,
        damage=float(rng.randint(5, 60)),
        chip=0.0,
        reach=reach,
        tags=some(rng, TAGS, 0.4),
        tracks=some(rng, SIDES, 0.4),
        breaks=frozenset({"one"}) if level in THROWS and rng.random() < 0.7 else frozenset(),
        on_block=rng.randint(-12, 3),
        on_hit=rng.randint(-2, 8),
        on_counter_hit=rng.randint(0, 12),
        blockstun=rng.randint(8, 20),
        hitstun=rng.randint(10, 26),
        pushback_block=rng.randint(0, 5) * TENTH,
        pushback_hit=rng.randint(0, 8) * TENTH,
    )


def random_hits(rng: Random) -> tuple[Hit, ...]:
    """One to three hits in order, never two on one frame; the windows of two may join."""
    hits: list[Hit] = []
    first_active = rng.choice((1, 2, 4, 6, 8, 9, 10, 10, 11, 12, 14))
    for _ in range(rng.choice((1, 1, 1, 2, 2, 3))):
        hit = random_hit(rng, first_active, rng.choice(LEVEL_IDS))
        hits.append(hit)
        first_active = (hit.active_stop or 0) + rng.choice((0, 1, 3, 6))
    return tuple(hits)


def random_displacement(rng: Random, total: int, chance: float) -> tuple[Displacement, ...]:
    spans = random_spans(rng, total, chance)
    return tuple(Displacement(span=span, step=rng.randint(-4, 4) * TENTH // 2) for span in spans)


def random_guard(rng: Random, total: int, chance: float) -> tuple[Guard, ...]:
    spans = random_spans(rng, total, chance)
    return tuple(Guard(span=span, guards=some(rng, ("standing", "crouching"), 0.6)) for span in spans)


def random_parry(rng: Random, spans: Sequence[Span]) -> tuple[Parry, ...]:
    return tuple(
        Parry(span=span, catches=random_catch(rng), excepting=None if rng.random() < 0.6 else random_catch(rng))
        for span in spans
    )


def windows(rng: Random, kind: str, total: int, hits: tuple[Hit, ...], parry: tuple[Parry, ...], usual: float) -> Move:
    """A move of ``kind`` with every other window drawn; ``usual`` is the chance of each sort."""
    return Move(
        id=kind,
        name=kind,
        kind=kind,
        hits=hits,
        total=total,
        parry=parry,
        airborne=random_spans(rng, total, usual),
        crouching=random_spans(rng, total, usual),
        grounded=random_spans(rng, total, usual),
        invulnerable=tuple(Shield(span=span, to=random_catch(rng)) for span in random_spans(rng, total, usual)),
        armour=tuple(
            Armour(span=span, to=random_catch(rng), hits=rng.choice((1, 1, 2)))
            for span in random_spans(rng, total, usual * 1.5)
        ),
        guard=random_guard(rng, total, usual),
        sidestep=tuple(Sidestep(span=span, side=rng.choice(SIDES)) for span in random_spans(rng, total, usual)),
        displacement=random_displacement(rng, total, usual * 1.5),
        counter_state=random_spans(rng, total, usual),
    )


def random_attack(rng: Random) -> Move:
    hits = random_hits(rng)
    total = (hits[-1].active_stop or 0) - 1 + rng.randint(0, 14)
    spans = random_spans(rng, total, 0.1)
    return windows(rng, "attack", total, hits, random_parry(rng, spans), 0.2)


def random_stance(rng: Random, kind: str) -> Move:
    """A parry, a guard that is held (or let go), or a movement."""
    total = rng.randint(4, 30)
    if kind == "parry":
        spans = random_spans(rng, total, 1.0)
        return windows(rng, kind, total, (), random_parry(rng, spans), 0.1)
    if kind == "movement":
        return windows(rng, kind, total, (), (), 0.45)
    crouches = rng.random() < 0.5
    lasting = Span(1, FOREVER if rng.random() < 0.7 else total + 1)
    return Move(
        id=kind,
        name=kind,
        kind=kind,
        total=lasting.stop if lasting.stop == FOREVER else total,
        airborne=(),
        crouching=(lasting,) if crouches else (),
        invulnerable=(),
        armour=(),
        parry=(),
        guard=(Guard(span=lasting, guards=frozenset({"crouching" if crouches else "standing"})),),
        sidestep=(),
        displacement=(),
        counter_state=(),
        grounded=(Span(1, total + 1),) if rng.random() < 0.1 else (),
    )


def random_move(rng: Random) -> Move:
    """A move of any kind; attacks most often."""
    kind = rng.choice(("attack", "attack", "attack", "attack", "parry", "movement", "guard"))
    return random_attack(rng) if kind == "attack" else random_stance(rng, kind)


def rising(rng: Random, option: Move) -> Move:
    """The option as one out of a knockdown: on the ground from its frame 1, then perhaps crouching."""
    total = min(option.total or 1, 60)
    lies = Span(1, rng.randint(1, total) + 1)
    crouches = (Span(lies.stop, total + 1),) if lies.stop <= total and rng.random() < 0.4 else option.crouching
    return msgspec.structs.replace(option, grounded=(lies,), crouching=crouches)


def random_body(rng: Random, option: Move) -> Body:
    free_at = rng.choice((0, 0, 0, -4, -1, 1, 3, 5, 8, 10, 14))
    held = rng.choice(("none", "recovery", "recovery", "blockstun", "hitstun", "knockdown")) if free_at > 0 else "none"
    if rng.random() < 0.1:
        held = rng.choice(("none", "recovery", "blockstun", "hitstun", "knockdown"))
    if held == "knockdown" and rng.random() < 0.7:
        option = rising(rng, option)
    return Body(
        option=option,
        free_at=free_at,
        held=held,
        prior=random_move(rng) if rng.random() < (0.7 if held == "recovery" else 0.1) else None,
        prior_frame=rng.randint(-2, 20),
        delay=rng.choice((0, 0, 0, 1, 2, 5, 9)),
        lying=rng.choice(("grounded", "grounded", "airborne")),
    )


def covered(rng: Random, body: Body, own: int, sort: str) -> Body:
    """The side with a ``sort`` (parry, armour, sidestep or guard) window over its option's own frame ``own``."""
    option = body.option
    stop = min(own + rng.randint(1, 2), (option.total or own) + 1)
    span = Span(max(1, own - rng.randint(0, 2)), stop)
    if sort == "parry":
        parry = Parry(span=span, catches=Catch())
        option = msgspec.structs.replace(option, parry=(*(option.parry or ()), parry))
    elif sort == "armour":
        armour = Armour(span=span, to=Catch(), hits=rng.choice((1, 2)))
        option = msgspec.structs.replace(option, armour=(*(option.armour or ()), armour))
    elif sort == "sidestep":
        step = Sidestep(span=span, side=rng.choice(SIDES))
        option = msgspec.structs.replace(option, sidestep=(*(option.sidestep or ()), step))
    else:
        guard = Guard(span=span, guards=frozenset({"standing", "crouching"}))
        option = msgspec.structs.replace(option, guard=(*option.guard, guard))
    return dataclasses.replace(body, option=option)


def aligned(rng: Random, me: Body, them: Body) -> tuple[Body, Body]:
    """Both sides, the second moved so that a hit of each first becomes active on one common frame."""
    mine = rng.choice(me.option.hits).first_active or 0
    theirs = rng.choice(them.option.hits).first_active or 0
    later = me.free_at + me.delay + mine - them.free_at - them.delay - theirs
    them = dataclasses.replace(them, free_at=them.free_at + later)
    # Windows over the shared frame, so that parry meets parry, armour meets guard and so on.
    if rng.random() < 0.5:
        one = rng.choice(COVERS)
        two = one if rng.random() < 0.4 else rng.choice(COVERS)
        me = covered(rng, me, mine, one) if rng.random() < 0.75 else me
        them = covered(rng, them, theirs, two) if rng.random() < 0.75 else them
    return me, them


def random_meeting(seed: int) -> Meeting:
    """The exchange with this seed; the same one on every machine and run."""
    rng = Random(seed)
    conventions = random_conventions(rng)
    me = random_body(rng, random_attack(rng))
    them = random_body(rng, random_move(rng))
    if me.option.hits and them.option.hits and rng.random() < 0.5:
        me, them = aligned(rng, me, them)
    if rng.random() < 0.5:
        me, them = them, me
    distance = maybe(rng, 0.85, rng.randint(0, 12), rng.randint(8, 30)) * TENTH
    return Meeting(seed, conventions, me, them, distance)


def catch_shown(catch: Catch | None) -> str:
    if catch is None:
        return "nothing"
    return " ".join(sorted(catch.levels) + sorted(catch.tags)) or "everything"


def hit_shown(hit: Hit) -> str:
    words = {
        name: " ".join(sorted(value)) if value is not None else "unknown"
        for name, value in (("tags", hit.tags), ("tracks", hit.tracks), ("breaks", hit.breaks))
    }
    last = None if hit.active_stop is None else hit.active_stop - 1
    reach = None if hit.reach is None else from_micro(hit.reach)
    lists = ", ".join(f"{name} [{value}]" for name, value in words.items())
    return f"hit {hit.first_active}-{last} {hit.level}, reach {reach}, {lists}"


def move_shown(move: Move) -> list[str]:
    lines = [f"{move.kind}, total {move.total}", *(hit_shown(hit) for hit in move.hits)]
    for name in ("airborne", "crouching", "grounded", "counter_state"):
        spans = getattr(move, name)
        if spans != ():
            lines.append(f"{name} {'unknown' if spans is None else [span.shown() for span in spans]}")
    for name in ("invulnerable", "armour", "parry", "sidestep", "displacement"):
        if getattr(move, name) is None:
            lines.append(f"{name} unknown")
    for shield in move.invulnerable or ():
        lines.append(f"invulnerable {shield.span.shown()} to {catch_shown(shield.to)}")
    for armour in move.armour or ():
        lines.append(f"armour {armour.span.shown()} to {catch_shown(armour.to)}, {armour.hits} hits")
    for parry in move.parry or ():
        but = catch_shown(parry.excepting)
        lines.append(f"parry {parry.span.shown()} catches {catch_shown(parry.catches)}, excepting {but}")
    for guard in move.guard:
        lines.append(f"guard {guard.span.shown()} [{' '.join(sorted(guard.guards))}]")
    for step in move.sidestep or ():
        lines.append(f"sidestep {step.span.shown()} to the {step.side}")
    for part in move.displacement or ():
        lines.append(f"moves {part.span.shown()} by {from_micro(part.step)} a frame")
    return lines


def body_shown(name: str, body: Body) -> list[str]:
    lines = [f"{name}: held {body.held} through {body.free_at}, delay {body.delay}"]
    lines += [f"    {line}" for line in move_shown(body.option)]
    if body.prior is not None:
        lines.append(f"  prior move, own frame {body.prior_frame} on common frame 0")
        lines += [f"    {line}" for line in move_shown(body.prior)]
    return lines


def shown(meeting: Meeting) -> str:
    """The exchange as text that a person can check by hand."""
    rules = meeting.conventions
    table = ", ".join(f"{mine}/{theirs} {ruling}" for (mine, theirs), ruling in rules.same_frame.items())
    odd = rules.levels["odd"]
    lines = [
        f"seed {meeting.seed}, distance {from_micro(meeting.distance)}",
        f"guards {list(rules.guards)}, counter-hit in {sorted(rules.counter_hit)}",
        f"breakable in {sorted(rules.breakable_in or ())}",
        f"same frame: {table or 'default'}; immune in blockstun: {catch_shown(rules.blockstun_immune)}",
        f"odd level: {odd.kind}, hits {sorted(odd.hits)}, blocked by {sorted(odd.blocked_by)}",
        *body_shown("me", meeting.me),
        *body_shown("them", meeting.them),
    ]
    return "\n".join(lines)
