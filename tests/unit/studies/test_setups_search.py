"""The search against every sequence walked frame by frame."""

from __future__ import annotations

import random
from collections import Counter

import pytest

from advisor.pack.model import Move
from advisor.studies.setups_search import Group, Search
from advisor.studies.setups_tables import Actor, Target, lacks
from advisor.timeline.side import Side
from advisor.units import FOREVER, to_micro
from tests.unit.advice.demo import shelf
from tests.unit.studies.setups_brute import Scene, setups_by_hand, width_by_hand


def known(move: Move) -> bool:
    """Nothing about it is unknown that the walk looks at."""
    windows = (move.airborne, move.crouching, move.grounded, move.invulnerable, move.armour, move.parry, move.sidestep)
    return (
        lacks(move) is None
        and None not in windows
        and (move.total or 0) < FOREVER
        and all(None not in (hit.tags, hit.tracks, hit.breaks) for hit in move.hits)
    )


def options() -> tuple[list[Move], list[Move], list[Move]]:
    """Attacks and parries, movements, and wake-up options of the demo pack, all known in full."""
    pack = shelf().pack
    moves = [m for c in pack.characters.values() for m in c.moves.values() if known(m)]
    strikes = [m for m in moves if m.kind in ("attack", "parry") and not m.wakes_from]
    ways = [m for m in (*pack.system.values(), *moves) if m.kind == "movement" and known(m)]
    rises = [m for m in pack.wake_ups.values() if known(m)] + [m for m in moves if m.wakes_from]
    return strikes, ways, rises


def searched(scene: Scene, fillers: list[Move], lasts: list[Move], length: int) -> Search:
    conventions = scene.conventions
    end = scene.most + max(m.total or 0 for m in (*fillers, *lasts)) + 1
    targets = [
        Target(conventions, Side(option=r, free_at=scene.frames, held="knockdown"), end) for r in scene.replies
    ]
    search = Search(
        [Actor(conventions, m) for m in fillers], [Actor(conventions, m) for m in lasts], targets,
        distance=scene.distance, most=scene.most, length=length, bound=10_000_000,
    )
    search.run()
    assert search.complete
    return search


def instance(seed: int) -> tuple[Scene, list[Move], list[Move], int]:
    rng = random.Random(seed)
    strikes, ways, rises = options()
    fillers = [*rng.sample(ways, 2), *rng.sample(strikes, 3)]
    lasts = rng.sample(strikes, 5)
    replies = rng.sample(rises, 4)
    frames = rng.randrange(0, 70)
    most = frames + max(r.total or 0 for r in replies)
    distance = to_micro(rng.choice((0.0, 0.4, 0.9, 1.4, 1.8, 2.5)))
    scene = Scene(shelf().pack.conventions, replies, frames, distance, most)
    return scene, fillers, lasts, rng.choice((1, 2, 2, 3))


def groups_of(search: Search) -> list[Group]:
    return [group for count in search.counts for group in search.groups(count)]


@pytest.mark.parametrize("seed", range(40))
def test_every_sequence_and_what_it_covers(seed: int) -> None:
    scene, fillers, lasts, length = instance(seed)
    search = searched(scene, fillers, lasts, length)
    found = {}
    for group in groups_of(search):
        names = frozenset(r.id for i, r in enumerate(scene.replies) if group.covered >> i & 1)
        sequences = list(search.sequences(group))
        assert len(sequences) == group.ways
        for before in sequences:
            key = (*(fillers[i].id for i in before), lasts[group.last].id)
            assert key not in found
            found[key] = names
    assert found == dict(setups_by_hand(scene, fillers, lasts, length))
    assert search.counts == Counter(len(names) for names in found.values())


def test_the_instances_are_not_empty() -> None:
    covered = Counter(
        count for seed in range(40) for count in searched(*instance(seed)).counts
    )
    assert covered[1] > 20 and sum(covered[n] for n in (2, 3, 4)) > 20


@pytest.mark.parametrize("seed", range(12))
def test_the_width_of_each_group(seed: int) -> None:
    scene, fillers, lasts, length = instance(seed)
    search = searched(scene, fillers, lasts, length)
    for group in groups_of(search)[:40]:
        names = frozenset(r.id for i, r in enumerate(scene.replies) if group.covered >> i & 1)
        used, distance, _ = group.state
        window = search.window(group)
        assert used in window
        assert len(window) == width_by_hand(scene, lasts[group.last], names, used, distance)


def test_the_bound_stops_it_and_says_so() -> None:
    scene, fillers, lasts, _ = instance(3)
    search = Search(
        [Actor(scene.conventions, m) for m in fillers], [Actor(scene.conventions, m) for m in lasts],
        [Target(scene.conventions, Side(option=r, free_at=scene.frames, held="knockdown"), 400) for r in scene.replies],
        distance=scene.distance, most=scene.most, length=5, bound=10,
    )
    search.run()
    assert not search.complete


def test_progress_is_told() -> None:
    scene, fillers, lasts, _ = instance(4)
    told: list[tuple[int, int]] = []
    search = Search(
        [Actor(scene.conventions, m) for m in fillers], [Actor(scene.conventions, m) for m in lasts],
        [Target(scene.conventions, Side(option=r, free_at=scene.frames, held="knockdown"), 400) for r in scene.replies],
        distance=scene.distance, most=scene.most, length=3, bound=1_000_000,
        progress=lambda done, whole: told.append((done, whole)),
    )
    search.run()
    assert told and all(0 <= done <= whole for done, whole in told)
    assert [done for done, _ in told] == sorted(done for done, _ in told)
