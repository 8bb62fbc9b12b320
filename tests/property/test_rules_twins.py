"""Engine, plain Python and the naive reading of the written rules give the same conclusions."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from random import Random
from typing import Any

import pytest

from advisor.errors import DataError
from advisor.rules import (
    Conclusion,
    EngineEvaluator,
    PlainEvaluator,
    RuleSet,
    engine_available,
    load_rules,
    load_vocabulary,
    open_rules,
)
from tests.unit.rules import naive
from tests.unit.rules.generated import VOCABULARY, random_question, random_rules, write_rules

RULE_SETS = 110
QUESTIONS = 8
SEEDS = (11, 23, 37, 41)

Plain = tuple[str, int, int | None, dict[str, Any]]


def short(conclusions: list[Conclusion]) -> list[Plain]:
    return [(c.rule, c.record, c.other, c.facts) for c in conclusions]


def loaded(root: Path, rules: list[dict[str, Any]]) -> RuleSet | None:
    """The rule set, or None where the made-up rules unfold too far to be allowed."""
    try:
        return load_rules([write_rules(root, rules)], load_vocabulary(VOCABULARY))
    except DataError as error:
        if any(finding.code != "rule-too-wide" for finding in error.findings):
            raise
        return None


@pytest.mark.parametrize("seed", SEEDS)
def test_three_evaluators_agree(seed: int, tmp_path: Path) -> None:
    random, seen = Random(seed), Counter[str]()
    for number in range(RULE_SETS):
        rules = random_rules(random)
        ruleset = loaded(tmp_path / str(number), rules)
        if ruleset is None:
            continue
        plain = PlainEvaluator(ruleset)
        # Where the engine cannot be installed (Python 3.13 on), plain and naive still must agree.
        engine = EngineEvaluator(ruleset) if engine_available() else PlainEvaluator(ruleset)
        seen["reached"] += engine.tested if isinstance(engine, EngineEvaluator) else 10
        for _ in range(QUESTIONS):
            for scope in ("exchange", "response"):
                situation, records = random_question(random, scope)
                wanted = naive.conclude(rules, scope, situation, records)
                text = f"seed {seed}, set {number}, {scope}\n{rules}\n{situation}\n{records}"
                by_plain = plain.conclude(scope, situation, records)
                assert short(by_plain) == wanted, text
                assert engine.conclude(scope, situation, records) == by_plain, text
                seen["questions"] += 1
                seen["conclusions"] += len(wanted)
                seen["pairs"] += sum(other is not None for _, _, other, _ in wanted)
                seen["derived"] += sum(bool(facts) for *_, facts in wanted)
                check_open(ruleset, rules, scope, situation, records, seen)
    # The comparison must not have been empty.
    assert seen["questions"] * len(SEEDS) >= 6_000, seen
    assert min(seen["conclusions"], seen["pairs"], seen["derived"], seen["open"], seen["reached"]) >= 300, seen


def check_open(
    ruleset: RuleSet,
    rules: list[dict[str, Any]],
    scope: str,
    situation: dict[str, Any],
    records: list[dict[str, Any]],
    seen: Counter[str],
) -> None:
    """Without derived facts: open exactly where the naive reading is unknown, on facts it lacks."""
    if any(rule["conclude"].get("facts") for rule in rules):
        return
    found = {(item.rule, item.record): item.missing for item in open_rules(ruleset, scope, situation, records)}
    for rule in rules:
        for index, record in enumerate(records):
            if rule["scope"] != scope:
                continue
            if naive.pairs(rule):
                others = [other for at, other in enumerate(records) if at != index]
                triples: list[naive.Rows] = [(situation, record, other) for other in others]
                unknown = naive.some([naive.truth(rule, rows) for rows in triples]) is None
            else:
                triples = [(situation, record, None)]
                unknown = naive.truth(rule, triples[0]) is None
            assert ((rule["id"], index) in found) == unknown, (rule, situation, record)
            if unknown:
                lacks = set().union(*(naive.missing_of(rule, rows) for rows in triples))
                missing = found[rule["id"], index]
                assert missing, (rule, situation, record)
                assert missing <= lacks, (rule, situation, record, missing)
                seen["open"] += 1
