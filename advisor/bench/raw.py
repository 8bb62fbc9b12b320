"""The engine without the product: the same facts and rules, in two ways.

*Bare*: the very calls to the C extension that one advice makes, played again. *As its manual
shows*: the package's own host, one session, all facts of a question, an action for each rule.
The second runs in a process of its own, since it can take that process down.
"""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from typing import Any

import msgspec

from advisor.facts.question import Question
from advisor.library import Shelf
from advisor.rules.engine import EngineEvaluator, recorded

__all__ = ["as_the_manual_shows", "bare"]


def bare(shelf: Shelf, question: Question) -> Callable[[], object]:
    """A function that repeats the engine calls of one advice and nothing else."""
    assert isinstance(shelf.evaluator, EngineEvaluator)
    sessions = recorded(shelf.evaluator, lambda: shelf.ask(question))

    def run() -> None:
        for engine, session, batch in sessions:
            engine.play(session, batch)

    return run


def as_the_manual_shows(shelf: Shelf, question: Question, repeat: int) -> float | None:
    """Milliseconds of processor time a question through the package's host; None when it died."""
    assert isinstance(shelf.evaluator, EngineEvaluator)
    sets: dict[int, tuple[dict[str, Any], list[dict[str, Any]], dict[str, Any]]] = {}
    for engine, _, batch in recorded(shelf.evaluator, lambda: shelf.ask(question)):
        *rows, last = msgspec.json.decode(batch)
        _, taken, _ = sets.setdefault(engine.handle, (engine.group.definitions, [], last))
        taken += rows
    work = msgspec.json.encode({"repeat": repeat, "sets": list(sets.values())})
    done = subprocess.run(
        [sys.executable, "-m", "advisor.bench.manual"], input=work, stdout=subprocess.PIPE, check=False
    )
    return float(done.stdout) if done.returncode == 0 else None
