"""What both evaluators do alike: values refused, derived facts, open rules, what a set reads."""

from __future__ import annotations

import itertools
from pathlib import Path
from typing import Any

import msgspec
import pytest

from advisor.errors import Fault
from advisor.rules import EngineEvaluator, PlainEvaluator, RuleSet, Staged, engine_available, open_rules
from advisor.rules.compile import number
from tests.unit.rules.generated import Data, rule, ruleset

FAST = rule("fast", [{"fact": "mine.first_active", "at_most": {"fact": "situation.advantage"}}])
LONGER = rule("longer", [{"fact": "mine.reach", "above": {"fact": "other.mine.reach"}}])


def evaluators(rules: RuleSet) -> list[Staged]:
    return [PlainEvaluator(rules), *([EngineEvaluator(rules)] if engine_available() else [])]


HOSTILE: list[tuple[str, object]] = [
    ("theirs.move", 'jab","z":2,"x":"'),
    ("theirs.move", "jab\n"),
    ("theirs.move", "j\u00e4b"),
    ("theirs.move", "a" * 70_000),
    ("theirs.move", ""),
    ("theirs.move", 3),
    ("mine.first_active", "12"),
    ("mine.first_active", True),
    ("mine.first_active", 2.0),
    ("mine.first_active", 2**63),
    ("mine.reach", float("nan")),
    ("mine.reach", float("inf")),
    ("mine.reach", "1"),
    ("mine.reach", [1]),
    ("exchange.reaches", 1),
    ("mine.tags", "hand"),
    ("mine.tags", ["hand"]),
]


@pytest.mark.parametrize(("fact", "value"), HOSTILE, ids=[f"{i}-{f}" for i, (f, _) in enumerate(HOSTILE)])
def test_hostile_values_are_refused_by_both(fact: str, value: Any, tmp_path: Path) -> None:
    kinds: dict[str, Data] = {
        "theirs.move": {"is": "jab"}, "mine.first_active": {"above": 1}, "mine.reach": {"above": 1},
        "exchange.reaches": {"is": True}, "mine.tags": {"has": "hand"},
    }  # fmt: skip
    rules = ruleset(tmp_path, rule("reads", [{"fact": fact, **kinds[fact]}]))
    for evaluator in evaluators(rules):
        with pytest.raises(Fault, match=f"`{fact}` cannot be"):
            evaluator.conclude("exchange", {}, [{}, {fact: value}])
        assert evaluator.conclude("exchange", {}, [{}]) == []


@pytest.mark.parametrize("value", [0.5, 0.001, 0.0005, -1e-05, 1.5e-07, -2.5e-300, 5e-324, 0.1 + 0.2 - 0.3, 12345678.9])
def test_floats_are_written_without_exponent_and_exactly(value: float) -> None:
    text = msgspec.json.encode(number(value)).decode()
    assert "e" not in text.lower()
    assert float(text) == value


def test_the_first_rule_in_load_order_gives_the_derived_value(tmp_path: Path) -> None:
    known = [{"fact": "mine.reach", "known": True}]
    late = rule("a_late", [{"fact": "exchange.margin", "is": 1}], conclude={"facts": {"exchange.room": 5}})
    first = rule("b_margin", known, conclude={"facts": {"exchange.margin": 1}})
    early = rule("c_early", known, conclude={"facts": {"exchange.room": 7}})
    reader = rule("d_reader", [{"fact": "exchange.room", "is": 5}])
    rules = ruleset(tmp_path, late, first, early, reader)
    rows: list[Data] = [{"mine.reach": 1, **given} for given in ({}, {"exchange.room": 7}, {"exchange.margin": 2})]
    for evaluator in evaluators(rules):
        found = evaluator.conclude("exchange", {}, rows)
        fired = [(c.record, c.rule[5:]) for c in found]
        everyone = [(r, n) for r, n in itertools.product(range(3), ("b_margin", "c_early"))]
        assert fired == sorted([*everyone, (0, "a_late"), (0, "d_reader"), (1, "a_late")])
        assert [(c.record, c.facts) for c in found if c.rule == "made/a_late"] == [
            (0, {"exchange.room": 5}),
            (1, {"exchange.room": 5}),
        ]


def test_the_first_rule_of_a_layer_gives_the_derived_value(tmp_path: Path) -> None:
    known = [{"fact": "mine.reach", "known": True}]
    one = rule("a_one", [{"fact": "mine.reach", "is": 1}], conclude={"facts": {"exchange.margin": 1}})
    two = rule("b_two", known, conclude={"facts": {"exchange.margin": 2}})
    reader = rule("c_reader", [{"fact": "exchange.margin", "is": 2}])
    rules = ruleset(tmp_path, one, two, reader)
    for evaluator in evaluators(rules):
        found = evaluator.conclude("exchange", {}, [{"mine.reach": 1}, {"mine.reach": 2}])
        fired = [(c.record, c.rule[5:]) for c in found]
        assert fired == [(0, "a_one"), (0, "b_two"), (1, "b_two"), (1, "c_reader")]
        assert evaluator.extended("exchange", {}, [{"mine.reach": 1}])[0]["exchange.margin"] == 1


def test_open_rules_name_what_they_hang_on(tmp_path: Path) -> None:
    margin = rule("margin", [{"fact": "mine.first_active", "at_most": 9}], conclude={"facts": {"exchange.margin": 1}})
    reads = rule("reads", [{"fact": "exchange.margin", "is": 1}, {"fact": "mine.reach", "above": 2}])
    moot = rule("moot", [{"fact": "exchange.reaches", "is": True}, {"fact": "mine.damage", "above": 2}])
    rules = ruleset(tmp_path, margin, reads, moot)
    row: Data = {"exchange.reaches": False, "mine.reach": 3}
    found = {item.rule: item.missing for item in open_rules(rules, "exchange", {}, [row])}
    # The moot rule is false whatever the damage; the derived fact stands for what it comes from.
    assert found == {
        "made/margin": frozenset({"mine.first_active"}),
        "made/reads": frozenset({"mine.first_active"}),
    }
    assert open_rules(rules, "exchange", {}, [{**row, "mine.first_active": 3, "mine.damage": 1}]) == []


def test_reads_and_slots(tmp_path: Path) -> None:
    rules = ruleset(tmp_path, FAST, {**LONGER, "because": "{other.mine.reach} {mine.damage}"})
    assert rules.reads("exchange") == {"mine.first_active", "situation.advantage", "mine.reach"}
    assert rules.reads("situation") == {"situation.advantage"}
    assert rules.reads("response") == frozenset()
    assert rules.slots("made/longer") == ("other.mine.reach", "mine.damage")
