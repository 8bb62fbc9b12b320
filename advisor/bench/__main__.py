"""One command, ``python -m advisor.bench``: what a question costs, as ratios within one run.

Times are processor time of this process unless said otherwise; each figure is the median of
several rounds, and the contenders take turns, so that a busy machine troubles all of them alike.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import msgspec

from advisor.bench import (
    beats,
    coverage,
    games,
    live,
    notebook,
    pages,
    rounds,
    serving,
    setups,
    tables,
    versions,
    written,
)
from advisor.bench.raw import as_the_manual_shows, bare
from advisor.bench.roster import grown_pack
from advisor.facts import ready, settle, situation_record
from advisor.facts.question import Blocked, Fighter, Neutral, Question
from advisor.facts.records import pair_of
from advisor.library import Shelf, bundled_rules, load_shelf
from advisor.pack.load import load_pack
from advisor.rules import engine_available

__all__ = ["main"]

ROUNDS = 7


def turns(contenders: dict[str, Callable[[], object]], repeat: int) -> dict[str, float]:
    """Median milliseconds of processor time a call, the contenders taking turns."""
    took: dict[str, list[float]] = {name: [] for name in contenders}
    for _ in range(ROUNDS):
        for name, run in contenders.items():
            start = time.process_time()
            for _ in range(repeat):
                run()
            took[name].append((time.process_time() - start) * 1000 / repeat)
    return {name: statistics.median(times) for name, times in took.items()}


def _shelf(engine: str, moves: int) -> Shelf:
    demo = load_shelf(bundled_rules() / "packs" / "cold_frame", engine=engine)
    pack = grown_pack(demo.pack, 2, moves)
    return Shelf(pack=pack, rules=demo.rules, evaluator=demo.evaluator, warnings=())


def _question(shelf: Shelf) -> Question:
    """They did a -10 move and I blocked it."""
    them = shelf.pack.characters["fighter_1"]
    move = next(
        m.id for m in them.moves.values()
        if m.hits and m.hits[0].on_block == -10 and m.hits[0].pushback_block is not None
    )
    return Question(
        me=Fighter(character="fighter_0"), them=Fighter(character="fighter_1"),
        moment=Blocked(attacker="them", move=move), distance="touching",
    )


def advice(moves: int, repeat: int) -> None:
    """One uncached advice by engine, against the bare engine on the same facts and rules."""
    plain = _shelf("plain", moves)
    question = _question(plain)
    considered = plain.ask(question).considered
    contenders: dict[str, Callable[[], object]] = {"with the plain evaluator": lambda: plain.ask(question)}
    manual = None
    if engine_available():
        durable = _shelf("durable", moves)
        contenders["with durable-rules"] = lambda: durable.ask(question)
        contenders["bare engine calls of that advice"] = bare(durable, question)
        manual = as_the_manual_shows(durable, question, ROUNDS * repeat)
    took = turns(contenders, repeat)
    print(f"\nadvice, character of {moves} moves, {considered} responses weighed, uncached")
    for name, ms in took.items():
        print(f"  {name:48} {ms:8.2f} ms of processor time")
    if "with durable-rules" not in took:
        return
    whole, calls = took["with durable-rules"], took["bare engine calls of that advice"]
    if manual is not None:
        print(f"  {'durable-rules as its manual shows (own process)':48} {manual:8.2f} ms")
        print(f"  advice / durable-rules as its manual shows: {whole / manual:.2f} (goal: at most 1.5)")
    else:
        print("  durable-rules as its manual shows: the process died")
    print(f"  advice / bare engine calls: {whole / calls:.2f}")


def growth() -> None:
    """How the cost grows with the moves of a character and with the replies weighed."""
    print("\ngrowth (plain evaluator)")
    for moves in (50, 100, 200, 400):
        shelf = _shelf("plain", moves)
        question = _question(shelf)
        took = turns({"": lambda s=shelf, q=question: s.ask(q)}, 5)  # type: ignore[misc]
        print(f"  {moves:4} moves, {shelf.ask(question).considered:4} weighed: {took['']:8.2f} ms")
    shelf = _shelf("plain", 100)
    for replies in (1, 2, 4, 8):
        names = list(shelf.pack.characters["fighter_1"].moves)[:replies]
        asked = Question(
            me=Fighter(character="fighter_0"), them=Fighter(character="fighter_1"), moment=Neutral(),
            distance="close", replies=names,
        )
        took = turns({"": lambda s=shelf, q=asked: s.ask(q)}, 3)  # type: ignore[misc]
        print(f"  {replies:4} replies: {took['']:8.2f} ms")


def facts() -> None:
    """Exchange facts alone."""
    shelf = _shelf("plain", 100)
    situation = settle(shelf.pack, _question(shelf))
    mine, theirs, _ = ready(situation)

    def run() -> None:
        situation_record(situation)
        for a in mine:
            for b in theirs:
                pair_of(situation, a, b)

    took = turns({"": run}, 10)
    print(f"\nexchange facts: {took[''] * 1000 / (len(mine) * len(theirs)):.1f} us a pair")


def loading() -> None:
    """Reading a large pack from its files."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "grown"
        written.write_pack(path, characters=40, moves=120)
        took = turns({"": lambda: load_pack(path)}, 1)
        print(f"\nload a pack of 40 characters x 120 moves: {took[''] / 1000:.2f} s (goal: under 2)")


def memory(questions: int) -> None:
    """Resident memory over many questions."""
    import psutil

    shelf = _shelf("auto", 100)
    question = _question(shelf)
    process = psutil.Process()
    for _ in range(min(2000, questions // 10)):
        msgspec.json.encode(shelf.ask(question))
    start = process.memory_info().rss
    marks = []
    for i in range(questions):
        msgspec.json.encode(shelf.ask(question))
        if i % max(1, questions // 10) == 0:
            marks.append(process.memory_info().rss)
    end = process.memory_info().rss
    print(
        f"\nresident memory over {questions} questions: {start / 1e6:.1f} MB at the start, {end / 1e6:.1f} MB at the "
        f"end ({(end - start) / start:+.2%}; goal: within 2 %), most {max(marks) / 1e6:.1f} MB"
    )


def main() -> None:
    """Run the parts asked for, all but the long ones by default."""
    parser = argparse.ArgumentParser(prog="python -m advisor.bench", description=__doc__)
    parser.add_argument("--memory", type=int, metavar="N", help="only: resident memory over N questions")
    parser.add_argument("--studies", action="store_true", help="only: coverage, what beats this, setups")
    parser.add_argument("--guess", action="store_true", help="only: equilibria against other solvers, and rounds")
    parser.add_argument("--tables", action="store_true", help="only: reading a long move table, as CSV and XLSX")
    parser.add_argument("--notebook", action="store_true", help="only: what trials add to an answer")
    parser.add_argument("--versions", action="store_true", help="only: comparing two versions of a pack")
    parser.add_argument("--live", action="store_true", help="only: an update of a live channel to 2000 subscribers")
    parser.add_argument("--pages", action="store_true", help="only: overlay and desk in Chromium")
    parser.add_argument("--quick", action="store_true", help="fewer repeats")
    given = parser.parse_args()
    if given.memory:
        memory(given.memory)
        return
    chosen = [
        part for asked, parts in (
            (given.studies, (coverage, beats, setups)), (given.guess, (games, rounds)), (given.tables, (tables,)),
            (given.notebook, (notebook,)), (given.versions, (versions,)),
            (given.live, (live,)), (given.pages, (pages,)),
        ) if asked for part in parts
    ]  # fmt: skip
    for part in chosen:
        part.run()
    if chosen:
        return
    print(f"Python {sys.version.split()[0]}")
    for moves in (100, 165):  # a character of 100 moves; and one of which about 100 can be used here
        advice(moves, 3 if given.quick else 15)
    facts()
    growth()
    loading()
    serving.requests(2.0 if given.quick else 5.0)


if __name__ == "__main__":
    main()
