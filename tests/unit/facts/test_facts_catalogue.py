"""The vocabulary, the records and the provenance speak of the same facts, in the same types."""

from __future__ import annotations

import math

import pytest

from advisor.facts import SOURCES
from advisor.rules import Fact
from advisor.rules.vocabulary import WORD
from tests.unit.advice.demo import shelf, swept

# One process answers the sweep of questions, for all tests that look at it.
pytestmark = pytest.mark.xdist_group("sweep")

FACTS = shelf().rules.vocabulary.facts
ROLES = {"mine", "theirs", "moment", "question", "me", "them"}


def test_every_fact_of_situation_and_exchange_has_sources() -> None:
    wanted = {name for name, fact in FACTS.items() if fact.scope in ("situation", "exchange") and not fact.derived}
    assert not wanted - set(SOURCES), f"without sources: {sorted(wanted - set(SOURCES))}"
    assert not set(SOURCES) - wanted, f"sources of no fact: {sorted(set(SOURCES) - wanted)}"


def test_sources_name_a_role_and_a_property() -> None:
    wrong = [
        f"{fact}: {path}"
        for fact, paths in SOURCES.items()
        for path in paths
        if path.count(".") != 1 or path.split(".")[0] not in ROLES or not path.split(".")[1]
    ]
    assert not wrong


@pytest.mark.parametrize("scope", ["situation", "exchange", "response"])
def test_no_fact_is_dead_and_none_is_unheard_of(scope: str) -> None:
    """Every fact of the vocabulary is produced by some question, and nothing else is."""
    wanted = {name for name, fact in FACTS.items() if fact.scope == scope and not fact.derived}
    produced = swept().produced[scope]
    assert not wanted - produced, f"never produced: {sorted(wanted - produced)}"
    assert not produced - wanted, f"not in the vocabulary as facts of the {scope}: {sorted(produced - wanted)}"


def fault(fact: Fact, kind: type, value: object) -> str:
    """What is wrong with a value of a fact; empty when nothing is."""
    words = {
        "level": set(shelf().pack.conventions.levels), "tag": set(shelf().pack.conventions.tags),
        "knockdown": set(shelf().pack.conventions.knockdowns),
    }  # fmt: skip
    allowed = set(fact.values) or words.get(fact.of, set())
    right = {
        "integer": kind is int,
        "number": kind in (int, float) and math.isfinite(value),  # type: ignore[arg-type]
        "boolean": kind is bool,
        "word": kind is str and bool(WORD.match(str(value))),
        "words": kind is frozenset,
        "text": kind is str,
    }[fact.type]
    if not right:
        return f"`{fact.name}` is {fact.type}, not {kind.__name__} {value!r}"
    given = {value} if fact.type == "word" else value if isinstance(value, frozenset) else set()
    strange = set(given) - allowed if allowed else set()
    return f"`{fact.name}` is never {sorted(map(str, strange))}" if strange else ""


def test_every_value_is_of_the_type_that_the_vocabulary_declares() -> None:
    values = swept().values
    assert len(values) >= 2_000
    faults = {fault(FACTS[name], kind, value) for name, kind, value in values if name in FACTS} - {""}
    assert not faults, "\n".join(sorted(faults)[:20])


def test_every_listed_word_of_a_fact_can_come_up() -> None:
    """A value that nothing produces would let an author write a rule that never fires.

    Nobody is ever caught lying down in an exchange, and the demo game has no hit that finds
    somebody in a phase which its conventions rule out.
    """
    seen: dict[str, set[object]] = {}
    for name, _, value in swept().values:
        seen.setdefault(name, set()).update(value if isinstance(value, frozenset) else {value})
    never = {
        f"{fact.name}: {word}"
        for fact in FACTS.values()
        for word in set(fact.values) - seen.get(fact.name, set())
    }
    assert never <= KNOWN_ABSENT, f"never seen: {sorted(never - KNOWN_ABSENT)}"


# The sweep takes sides in turn, so it lacks some words that other questions have.
KNOWN_ABSENT = {
    "exchange.posture: grounded",
    "exchange.near_effect: parried",
    "exchange.my_posture_at_theirs: grounded",
}


@pytest.mark.parametrize(
    ("name", "value", "right"),
    [("mine.first_active", 10, True), ("mine.first_active", 10.0, False), ("mine.first_active", True, False),
     ("mine.reach", 1, True), ("mine.reach", math.inf, False), ("exchange.reaches", 1, False),
     ("exchange.by", "me", True), ("exchange.by", "us", False), ("mine.tags", frozenset({"hand"}), True),
     ("mine.tags", frozenset({"fist"}), False), ("mine.tags", "hand", False), ("mine.name", "a name", True),
     ("mine.option", "a name", False)],
)  # fmt: skip
def test_the_type_check_tells_right_from_wrong(name: str, value: object, right: bool) -> None:
    assert (fault(FACTS[name], type(value), value) == "") is right
