"""What coverage costs: 100 moves against 12 wake-up options at delays 0 to 60, beside a frame-by-frame walk."""

from __future__ import annotations

import statistics
import time
from collections.abc import Sequence
from importlib import import_module
from typing import Any

import msgspec

from advisor.bench.roster import grown_character
from advisor.library import bundled_rules
from advisor.pack.load import load_pack
from advisor.pack.model import Conventions, Move, Pack
from advisor.timeline import touching
from advisor.timeline.delays import delay_windows
from advisor.timeline.exchange import meet
from advisor.timeline.side import Side

__all__ = ["run"]

MOVES, OPTIONS, MOST = 100, 12, 60
DISTANCE = 900_000
AHEAD = 20
ROUNDS = 7
EVERY = 10
"""The walk and single exchanges run on every tenth pair, scaled up, a part of them in each round."""


def run() -> None:
    """Print milliseconds of processor time, the ratio to the walk in the same run, and growth with moves."""
    pack = load_pack(bundled_rules() / "packs" / "cold_frame").pack
    them = [Side(option=m, free_at=AHEAD, held="knockdown") for m in _wake_ups(pack)]
    every = list(grown_character(pack, "grown", 8 * MOVES).moves.values())
    known = [Side(option=m) for m in every if _complete(m)]
    sizes = {n: known[:n] for n in (MOVES // 2, MOVES, 2 * MOVES)}
    pairs = [(me, other) for me in known[:MOVES] for other in them][::EVERY]
    took: dict[object, list[float]] = {}
    for turn in range(ROUNDS):
        for size, mine in (*sizes.items(), ("gaps", [Side(option=m) for m in every[:MOVES]])):
            took.setdefault(size, []).append(_windows(pack.conventions, mine, them))
        for name, single in (("meet", _meeting), ("walk", _walking)):
            took.setdefault(name, []).append(single(pack.conventions, pairs[turn::ROUNDS]) * EVERY)
    cost = {size: statistics.median(took[size]) for size in sizes}
    print(f"\ncoverage, {MOVES} moves x {len(them)} wake-up options x delays 0-{MOST}")
    print(f"  {'all windows of delays':48} {cost[MOVES]:8.1f} ms of processor time")
    print(f"  {'the same, with what the demo data leave unknown':48} {statistics.median(took['gaps']):8.1f} ms")
    for name, said in (("meet", "an exchange at every delay"), ("walk", "the frame-by-frame walk of the tests")):
        ms = sum(took[name])
        if ms:
            print(f"  {said:48} {ms:8.1f} ms, {ms / cost[MOVES]:.0f} times as long")
    growth = " and ".join(f"{cost[2 * n] / cost[n]:.2f}" for n in (MOVES // 2, MOVES))
    print(f"  twice the moves: cost times {growth}")


def _wake_ups(pack: Pack) -> list[Move]:
    """The pack's wake-up options and, to make up the number, rising attacks."""
    rising = [m for c in pack.characters.values() for m in c.moves.values() if m.wakes_from]
    rises = [m for m in pack.wake_ups.values() if _complete(m)]
    return [*rises[: OPTIONS - 3], *(m for m in rising if _complete(m))][:OPTIONS]


_OF_HIT = ("first_active", "active_stop", "level", "reach", "tags", "tracks", "breaks")


def _complete(move: Move) -> bool:
    """Whether everything that bears on an exchange is recorded; the walk needs that."""
    windows = ("airborne", "crouching", "grounded", "invulnerable", "armour", "parry", "sidestep", "displacement")
    values = [getattr(move, name) for name in (*windows, "counter_state", "total")]
    for hit in move.hits:
        values += [getattr(hit, name) for name in _OF_HIT]
    return None not in values


Pairs = Sequence[tuple[Side, Side]]


def _windows(conventions: Conventions, mine: Sequence[Side], them: Sequence[Side]) -> float:
    """Milliseconds for all pairs, nothing kept from the time before."""
    touching.forget()
    start = time.process_time()
    for me in mine:
        for other in them:
            delay_windows(conventions, me, other, DISTANCE, MOST)
    return (time.process_time() - start) * 1000


def _meeting(conventions: Conventions, pairs: Pairs) -> float:
    """Milliseconds of single exchanges, one a delay."""
    start = time.process_time()
    for me, other in pairs:
        for delay in range(MOST + 1):
            meet(conventions, msgspec.structs.replace(me, delay=delay), other, DISTANCE)
    return (time.process_time() - start) * 1000


def _walking(conventions: Conventions, pairs: Pairs) -> float:
    """Milliseconds of the walk, one a delay; 0 where the tests are not at hand."""
    try:
        oracle: Any = import_module("tests.oracle.frame_walk")
    except ModuleNotFoundError:
        return 0.0
    start = time.process_time()
    for me, other in pairs:
        there = oracle.Body(other.option, free_at=other.free_at, held=other.held)
        for delay in range(MOST + 1):
            oracle.walk(conventions, oracle.Body(me.option, delay=delay), there, DISTANCE)
    return (time.process_time() - start) * 1000


if __name__ == "__main__":
    run()
