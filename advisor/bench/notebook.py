"""What the notebook adds to an answer: advice with and without evidence, with 100,000 trials in the store."""

from __future__ import annotations

import random
import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import msgspec

from advisor.facts import Question
from advisor.facts.question import Blocked, Fighter
from advisor.library import Shelf, bundled_rules, load_shelf
from advisor.notebook import Notebook, Situation, Trial, situation_of
from advisor.notebook.connection import writing
from advisor.notebook.schema import downgrade, upgrade
from advisor.notebook.store import row_of
from advisor.notebook.tables import trials
from advisor.notebook.tried import tried_for

__all__ = ["run"]

TRIALS, SITUATIONS = 100_000, 1_000
BATCH = 5_000
ROUNDS = 60
LINE = 48


def _fill(notebook: Notebook, situation: Situation, situations: int, options: list[str], replies: list[str]) -> None:
    """Trials spread over situations, the first of which is ``situation``; the upgrade makes their totals."""
    downgrade(notebook.engine, "0002")
    rng = random.Random(3)
    places = [msgspec.structs.replace(situation, distance=(situation.distance or 0) + i) for i in range(situations)]
    for start in range(0, TRIALS, BATCH):
        rows = [
            row_of(
                Trial(
                    situation=places[i % situations], response=rng.choice(options),
                    reply=rng.choice((None, *replies)), successes=rng.randrange(9), tries=8,
                ),
                f"id-{i}",
            )
            for i in range(start, start + BATCH)
        ]  # fmt: skip
        with writing(notebook.engine) as connection:
            connection.execute(trials.insert(), rows)
    upgrade(notebook.engine)


def _medians(calls: list[Callable[[], object]]) -> list[float]:
    """Median milliseconds of wall clock of each, taken in turns."""
    took: list[list[float]] = [[] for _ in calls]
    for _ in range(ROUNDS):
        for call, times in zip(calls, took, strict=True):
            start = time.perf_counter()
            call()
            times.append(1000 * (time.perf_counter() - start))
    return [statistics.median(times) for times in took]


def _measure(shelf: Shelf, question: Question, situations: int, title: str) -> None:
    situation = situation_of(question, shelf.pack)
    answer = shelf.ask(msgspec.structs.replace(question, limit=400))
    options = [r.option for r in answer.responses]
    replies = answer.situation.replies + list(shelf.pack.characters[question.them.character].moves)
    with tempfile.TemporaryDirectory() as folder, Notebook(f"sqlite:///{Path(folder) / 'n.sqlite'}") as notebook:
        _fill(notebook, situation, situations, options, replies)
        found = tried_for(notebook, question, shelf.pack, "show")

        def ask() -> object:
            return shelf.ask(question, tried_for(notebook, question, shelf.pack, "show"))

        asked, evident, added, fresh, kept = _medians([
            lambda: shelf.ask(question), lambda: shelf.ask(question, found),
            lambda: notebook.add(Trial(situation=situation, response="x", successes=1, tries=2)), ask, ask,
        ])  # fmt: skip
        rows = 0 if found is None else len(found.counts)
    print(f"\nnotebook, {TRIALS:,} trials on SQLite, {title}, {rows:,} totals here (wall clock)")
    for what, took in (
        ("one question", asked), ("with trials at hand", evident), ("with trials read after a record", fresh),
        ("with trials read before", kept),
    ):  # fmt: skip
        print(f"  {what:{LINE}} {took:10.2f} ms, {took / asked:.2f} of the question")
    print(f"  {'writing one down':{LINE}} {added:10.2f} ms")


def run() -> None:
    """Print milliseconds of wall clock, and the ratios."""
    shelf = load_shelf(bundled_rules() / "packs" / "cold_frame")
    question = Question(
        me=Fighter(character="wenna"), them=Fighter(character="marl"), distance="touching",
        moment=Blocked(attacker="them", move="cinder_knee"),
    )  # fmt: skip
    _measure(shelf, question, SITUATIONS, f"{SITUATIONS:,} situations")
    _measure(shelf, question, 1, "all of one situation")


if __name__ == "__main__":
    run()
