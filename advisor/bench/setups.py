"""The search for setups: five steps out of sixty actions, and how it grows with actions and frames."""

from __future__ import annotations

import statistics
import time

import msgspec

from advisor.bench.roster import grown_character
from advisor.facts.question import Fighter, KnockedDown
from advisor.library import Shelf, bundled_rules, load_shelf
from advisor.pack.model import Character
from advisor.studies.setups import Setups, SetupsRequest, setups

__all__ = ["run"]

ROUNDS = 3


def _shelf(actions: int) -> tuple[Shelf, int]:
    """The demo pack with a fighter of ``actions`` usable actions (as near as can be) beside its own."""
    demo = load_shelf(bundled_rules() / "packs" / "cold_frame", engine="plain")
    moves = actions
    while True:
        fighter = grown_character(demo.pack, "grown", moves)
        count = _usable(fighter) + len(demo.pack.system)
        if count >= actions:
            pack = msgspec.structs.replace(demo.pack, characters={**demo.pack.characters, "grown": fighter})
            return Shelf(pack=pack, rules=demo.rules, evaluator=demo.evaluator, warnings=()), count
        moves += max(1, actions - count)


def _usable(fighter: Character) -> int:
    return sum(
        m.total is not None and m.displacement is not None and not m.cost and m.requires is None and not m.wakes_from
        and all(None not in (h.first_active, h.active_stop, h.level, h.reach) for h in m.hits)
        for m in fighter.moves.values()
    )


def _once(shelf: Shelf, frames: int, length: int) -> tuple[float, Setups]:
    request = SetupsRequest(
        me=Fighter(character="grown"), them=Fighter(character="wenna"),
        moment=KnockedDown(floored="them", state="face_up", frames=frames), distance="close", length=length,
        limit=20, each=3, bound=20_000_000,
    )
    took = []
    for _ in range(ROUNDS):
        start = time.process_time()
        answer = setups(shelf.pack, shelf.rules, shelf.evaluator, request)
        took.append(time.process_time() - start)
    return statistics.median(took), answer


def run() -> None:
    """Print seconds of processor time, work, and the ratio when the actions double."""
    print("\nsetups: the whole study, judged and listed (plain evaluator)")
    before = 0.0
    for actions in (30, 60, 120):
        shelf, count = _shelf(actions)
        took, answer = _once(shelf, 60, 5)
        ratio = f", {took / before:.2f} times the half" if before else ""
        goal = " (goal: under 1)" if actions == 60 else ""
        done = "complete" if answer.complete else "bound hit"
        print(
            f"  {count:4} actions, five steps, 60 frames: {took:6.2f} s{goal}{ratio}; {answer.found} found, "
            f"{answer.work} units of work, {done}"
        )
        before = took
    shelf, count = _shelf(60)
    for frames in (20, 40, 80, 120):
        took, answer = _once(shelf, frames, 5)
        print(f"  {count:4} actions, five steps, {frames:3} frames: {took:6.2f} s; {answer.found} found")
    for length in (2, 3, 4, 5):
        took, answer = _once(shelf, 60, length)
        print(f"  {count:4} actions, {length} steps, 60 frames: {took:6.2f} s; {answer.found} found")
