"""A run of random rule sets through the engine, for a process of its own: SEED, RULE SETS, QUESTIONS."""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path
from random import Random

from advisor.errors import DataError
from advisor.rules import EngineEvaluator, PlainEvaluator, load_rules, load_vocabulary
from tests.unit.rules.generated import VOCABULARY, random_question, random_rules, write_rules


def run(seed: int, rule_sets: int, questions: int) -> int:
    """Compare both evaluators; gives the number of conclusions. Any difference ends the process."""
    random, vocabulary, concluded = Random(seed), load_vocabulary(VOCABULARY), 0
    for _ in range(rule_sets):
        with tempfile.TemporaryDirectory() as folder:
            try:
                ruleset = load_rules([write_rules(Path(folder), random_rules(random))], vocabulary)
            except DataError:
                continue  # unfolds too far; the load tests look at that
        engine, plain = EngineEvaluator(ruleset), PlainEvaluator(ruleset)
        for _ in range(questions):
            for scope in ("exchange", "response"):
                situation, records = random_question(random, scope)
                found = engine.conclude(scope, situation, records)
                if found != plain.conclude(scope, situation, records):
                    sys.exit(f"different: seed {seed}, {situation}, {records}")
                concluded += len(found)
    return concluded


if __name__ == "__main__":
    print(run(*(int(argument) for argument in sys.argv[1:4])))
