"""What walls and floors make of a hit, against the frame walk's own reading of the same hit.

Outside check: none published; ``left_by`` of the walk is a second implementation.
"""

from __future__ import annotations

from collections import Counter
from itertools import product
from random import Random

from advisor.facts.surroundings import Around, Way, landing_of
from advisor.pack.model import Conventions, Effect, Hit, Leaves, Level
from tests.oracle.frame_walk import Ground, Left, left_by

HITS = 6_000
TOLD = (None, False, True)


def random_effects(rng: Random, names: str) -> dict[str, Effect]:
    out = {}
    for name in rng.sample(names, rng.randint(0, 2)):
        replaces = frozenset(key for key in ("advantage", "knockdown", "distance") if rng.random() < 0.5)
        out[name] = Effect(
            id=name, damage=float(rng.randint(0, 2)), replaces=replaces,
            advantage=rng.randint(4, 6) if "advantage" in replaces else None,
            knockdown=rng.choice(("none", "flat")) if "knockdown" in replaces else None,
            distance=rng.randint(0, 2) if "distance" in replaces else None,
        )  # fmt: skip
    return out


def random_hit(rng: Random, walls: dict[str, Effect], floors: dict[str, Effect]) -> Hit:
    def left() -> Leaves:
        return Leaves(
            knockdown=rng.choice(("none", "flat")), distance=rng.randint(0, 1),
            wall=rng.choice(["none", *walls]), floor=rng.choice(["none", *floors]),
        )  # fmt: skip

    return Hit(
        damage=float(rng.randint(8, 10)), chip=float(rng.randint(0, 2)), on_hit=5, on_counter_hit=6, on_block=4,
        pushback_hit=1, pushback_block=0, leaves_hit=left(), leaves_counter_hit=left(), leaves_block=left(),
    )  # fmt: skip


def plain(hit: Hit, effect: str) -> tuple[Leaves, Way]:
    """The hit in the open, put together here by hand."""
    bare = {"hit": hit.leaves_hit, "counter_hit": hit.leaves_counter_hit, "blocked": hit.leaves_block}[effect]
    lead = {"hit": hit.on_hit, "counter_hit": hit.on_counter_hit, "blocked": hit.on_block}[effect]
    push = hit.pushback_block if effect == "blocked" else hit.pushback_hit
    assert bare is not None
    assert bare.distance is not None
    assert push is not None
    return bare, Way(
        damage=hit.chip if effect == "blocked" else hit.damage, advantage=lead, knockdown=bare.knockdown,
        distance=3 + push + bare.distance,
    )  # fmt: skip


def agreed(lefts: list[Left], name: str) -> object:
    values = [getattr(left, name) for left in lefts]
    return values[0] if all(value == values[0] for value in values) else None


NAMES = {"damage": "damage", "advantage": "advantage", "knockdown": "knockdown", "distance": "apart", "wall": "wall",
         "floor": "floor"}  # fmt: skip


def test_every_told_and_untold_surrounding_ends_as_the_walk_says() -> None:
    """Told, it is the walk's answer; untold, it is known exactly where the walk says the same either way."""
    rng = Random(7)
    level = Level(id="mid", hits=frozenset({"standing"}), blocked_by=frozenset())
    seen: Counter[str] = Counter()
    for _ in range(HITS):
        walls, floors = random_effects(rng, "abc"), random_effects(rng, "xyz")
        conventions = Conventions(levels={"mid": level}, wall_effects=walls, floor_effects=floors)
        hit = random_hit(rng, walls, floors)
        effect = rng.choice(("hit", "counter_hit", "blocked"))
        near, breaks = rng.choice(TOLD), rng.choice(TOLD)
        lefts = [
            left_by(conventions, hit, effect, 3, Ground(wall, floor))
            for wall, floor in product((near,) if near is not None else (False, True),
                                       (breaks,) if breaks is not None else (False, True))
        ]  # fmt: skip
        leaves, way = plain(hit, effect)
        landing = landing_of(conventions, Around(wall=near, floor=breaks), leaves, way)
        for name, theirs in NAMES.items():
            found, true = getattr(landing.sure, name), agreed(lefts, theirs)
            assert found == true, (name, found, true, hit, near, breaks)
            seen[f"{name} {'open' if true is None else 'known'}"] += 1
        health = float(rng.randint(8, 14))
        deaths = {left.damage >= health for left in lefts}
        assert landing.takes(health) is (deaths.pop() if len(deaths) == 1 else None)
        seen[f"takes {landing.takes(health)}"] += 1
    wanted = [f"{name} {how}" for name in NAMES for how in ("open", "known")]
    short = {name for name in (*wanted, "takes True", "takes False", "takes None") if seen[name] < 100}
    assert not short, f"too few of {sorted(short)}: {seen}"


def test_a_hit_of_unknown_effect_may_have_any_of_the_packs() -> None:
    level = Level(id="mid", hits=frozenset({"standing"}), blocked_by=frozenset())
    stuck, hard = Effect(id="stuck", damage=2.0), Effect(id="hard", damage=5.0)
    conventions = Conventions(levels={"mid": level}, wall_effects={"stuck": stuck, "hard": hard})
    way = Way(damage=10.0, advantage=4, knockdown="none", distance=None)
    unread = landing_of(conventions, Around(wall=True), None, way)
    assert {one.damage for one in unread.ways} == {10.0, 12.0, 15.0}
    assert (unread.sure.damage, unread.sure.advantage, unread.sure.wall) == (None, 4, None)
    assert (unread.unsaid, unread.unread) == (frozenset(), {"wall"})
    assert (unread.takes(10.0), unread.takes(16.0), unread.takes(12.0)) == (True, False, None)
    away = landing_of(conventions, Around(wall=False), None, way)
    assert (away.ways, away.unread) == ((way,), frozenset())
    # A game without walls asks for none.
    assert landing_of(Conventions(levels={"mid": level}), Around(), None, way).asks == frozenset()
