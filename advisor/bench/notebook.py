"""What the notebook adds to an answer: counting the trials of a situation among 100,000, beside one question."""

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
from advisor.library import bundled_rules, load_shelf
from advisor.notebook import Notebook, Situation, Trial, situation_of
from advisor.notebook.connection import writing
from advisor.notebook.store import row_of
from advisor.notebook.tables import trials
from advisor.notebook.trial import situation_key

__all__ = ["run"]

TRIALS, SITUATIONS = 100_000, 1_000
BATCH = 5_000
ROUNDS = 15


def _fill(notebook: Notebook, situation: Situation) -> None:
    """Trials of ten responses, spread over the situations; the first is ``situation``."""
    rng = random.Random(3)
    places = [msgspec.structs.replace(situation, distance=(situation.distance or 0) + i) for i in range(SITUATIONS)]
    for start in range(0, TRIALS, BATCH):
        rows = [
            row_of(
                Trial(
                    situation=places[i % SITUATIONS], response=f"option_{rng.randrange(10)}",
                    successes=rng.randrange(8), tries=8,
                ),
                f"id-{i}",
            )
            for i in range(start, start + BATCH)
        ]  # fmt: skip
        with writing(notebook.engine) as connection:
            connection.execute(trials.insert(), rows)


def _median(call: Callable[[], object]) -> float:
    """Median milliseconds of wall clock."""
    took = []
    for _ in range(ROUNDS):
        start = time.perf_counter()
        call()
        took.append(1000 * (time.perf_counter() - start))
    return statistics.median(took)


def run() -> None:
    """Print milliseconds of wall clock, and the ratio."""
    shelf = load_shelf(bundled_rules() / "packs" / "cold_frame")
    question = Question(
        me=Fighter(character="wenna"), them=Fighter(character="marl"), distance="touching",
        moment=Blocked(attacker="them", move="cinder_knee"),
    )  # fmt: skip
    situation = situation_of(question, shelf.pack)
    with tempfile.TemporaryDirectory() as folder, Notebook(f"sqlite:///{Path(folder) / 'n.sqlite'}") as notebook:
        _fill(notebook, situation)
        key = situation_key(situation)
        counted = _median(lambda: notebook.counted(key))
        added = _median(lambda: notebook.add(Trial(situation=situation, response="x", successes=1, tries=2)))
    asked = _median(lambda: shelf.ask(question))
    print(f"\nnotebook, {TRIALS:,} trials of {SITUATIONS:,} situations on SQLite (wall clock)")
    print(f"  {'one question':48} {asked:10.2f} ms")
    print(f"  {'counting its trials':48} {counted:10.2f} ms, {counted / asked:.2f} of the question")
    print(f"  {'writing one down':48} {added:10.2f} ms")


if __name__ == "__main__":
    run()
