"""First sessions that break off before anything fired, for a process of its own."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any

import durable_rules_engine

from advisor.errors import Fault
from advisor.rules import EngineEvaluator
from advisor.rules import engine as engine_module
from tests.unit.rules.generated import rule, ruleset

SESSIONS = 40


class Broken:
    """The engine, but it takes no batch of facts."""

    def __getattr__(self, name: str) -> Any:
        return getattr(durable_rules_engine, name)

    def assert_facts(self, _handle: int, _text: str) -> Any:
        raise RuntimeError("code 311")


def run(root: Path) -> int:
    """Break off ``SESSIONS`` fresh sessions; gives how many were deleted without harm."""
    deleted = 0
    # Without the self-test, whose sessions would have prepared the memory that these use.
    vars(engine_module)["self_test"] = lambda *_arguments: 0
    for number in range(SESSIONS):
        name = str(number)
        made = ruleset(root / name, rule("any", [{"fact": "mine.reach", "above": 0}]))
        evaluator = EngineEvaluator(made)
        vars(engine_module)["_native"] = Broken()
        try:
            evaluator.conclude("exchange", {}, [{"mine.reach": 1}])
        except Fault:
            deleted += 1
        vars(engine_module)["_native"] = durable_rules_engine
    return deleted


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as folder:
        print(run(Path(folder)))
