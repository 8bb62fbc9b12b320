"""Sentences: how each kind of value is written."""

from __future__ import annotations

from pathlib import Path

import pytest

from advisor.errors import DataError
from advisor.rules import Value, fill, load_vocabulary
from tests.unit.rules.generated import VOCABULARY

VALUES: list[tuple[str, Value | None, str]] = [
    ("situation.advantage", 3, "+3"),
    ("situation.advantage", -10, "-10"),
    ("situation.advantage", 0, "0"),
    ("mine.first_active", 10, "10"),
    ("mine.reach", 1.25, "1.25"),
    ("mine.reach", 3.0, "3"),
    ("mine.reach", 0.1 + 0.2, "0.3"),
    ("mine.reach", -0.001, "0"),
    ("mine.reach", 12_000.0, "12000"),
    ("exchange.reaches", True, "yes"),
    ("exchange.reaches", False, "no"),
    ("situation.phase", "knocked_down", "knocked down"),
    ("mine.tags", frozenset({"tool", "bare_hand"}), "bare hand, tool"),
    ("mine.tags", frozenset(), "none"),
    ("mine.name", "Bell_Tap", "Bell_Tap"),
    ("mine.reach", None, "unknown"),
]


@pytest.mark.parametrize(("fact", "value", "text"), VALUES)
def test_a_value_in_words(fact: str, value: Value | None, text: str) -> None:
    facts = {} if value is None else {fact: value}
    assert fill(f"<{{{fact}}}>", load_vocabulary(VOCABULARY), facts) == f"<{text}>"


def test_a_slot_of_the_other_record() -> None:
    facts: dict[str, Value] = {"mine.reach": 1, "other.mine.reach": 2.5}
    filled = fill("{mine.reach} of {other.mine.reach} pace", load_vocabulary(VOCABULARY), facts)
    assert filled == "1 of 2.5 pace"


GOOD = "verdicts: {beats: it beats them}\nfacts:\n  mine.reach: {scope: exchange, type: number, meaning: reach}\n"
FAULTS = [
    ("scope: exchange", "scope: exchnage", "vocabulary-scope", 3),
    ("type: number", "type: numbr", "vocabulary-type", 3),
    ("type: number, ", "", "vocabulary-type", 3),
    ("meaning: reach", "meanin: reach", "vocabulary-key-unknown", 3),
    ("meaning: reach", "meaning: 3", "vocabulary-shape", 3),
    ("meaning: reach", "meaning: reach, signed: often", "vocabulary-shape", 3),
    ("meaning: reach", "meaning: reach, values: [a]", "vocabulary-shape", 3),
    ("number, meaning: reach", "word, meaning: reach, values: [a b]", "vocabulary-word", 3),
    ("scope: exchange", "scope: situation, derived: true", "vocabulary-derived", 3),
    ("mine.reach", "other.reach", "vocabulary-fact-name", 3),
    ("mine.reach", "Reach", "vocabulary-fact-name", 3),
    ("facts:", "fact:", "vocabulary-key-unknown", 3),
    ("{beats: it beats them}", "[beats]", "vocabulary-shape", 1),
]


@pytest.mark.parametrize(("old", "new", "code", "line"), FAULTS)
def test_a_faulty_vocabulary(old: str, new: str, code: str, line: int, tmp_path: Path) -> None:
    path = tmp_path / "vocabulary.yaml"
    path.write_text(GOOD, encoding="utf-8")
    assert list(load_vocabulary(path).facts) == ["mine.reach"]
    path.write_text(GOOD.replace(old, new), encoding="utf-8")
    with pytest.raises(DataError) as caught:
        load_vocabulary(path)
    assert (code, line) in [(f.code, f.line) for f in caught.value.findings]
