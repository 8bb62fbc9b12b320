"""Trying every rule once when it is loaded into the engine.

For each branch of a rule a situation and records are looked for that make it true, by repairing
one test after the other; then the engine and plain Python must agree on them, on a record of
usual values and on one that is all unknown.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from random import Random

from advisor.errors import Fault
from advisor.rules.branches import Branch
from advisor.rules.compile import Group
from advisor.rules.model import Read, Rule, RuleSet, Test, term_reads
from advisor.rules.plain import compile_layer
from advisor.rules.staged import Hit, Values
from advisor.rules.values import evaluate
from advisor.rules.vocabulary import FACT_LIMIT, NUMERIC, Fact, Value, Vocabulary

__all__ = ["Example", "find_example", "self_test"]

_TRIES, _REPAIRS = 6, 12
_STEPS = (1, 1, 2, 0.5)

Row = dict[str, Value]
Example = tuple[Row, Row, Row]
"""Situation, record and other record."""


def self_test(
    ruleset: RuleSet, group: Group, engine: Callable[[Values, Sequence[Values]], Iterable[Hit]]
) -> int:
    """Compare ``engine`` with plain Python on examples of every branch; gives how many were true.

    Errors: ``Fault`` naming a rule on which the two differ.
    """
    plain = compile_layer([member.rule for member in group.members], ruleset)
    reached = 0
    for member in group.members:
        for branch in member.branches:
            example = find_example(member.rule, branch, ruleset.vocabulary)
            reached += example is not None
            situation, records = _rows(example, member.rule, ruleset.vocabulary)
            wanted: list[Hit] = []
            plain(situation, records, wanted)
            if sorted(engine(situation, records)) != sorted(wanted):
                raise Fault(
                    "fault", f"the engine and plain Python differ on rule `{member.rule.id}`",
                    help="use the plain evaluator, and report the rule",
                )  # fmt: skip
    return reached


def _rows(example: Example | None, rule: Rule, vocabulary: Vocabulary) -> tuple[Row, list[Row]]:
    usual = _usual(rule, vocabulary)
    if example is None:
        return usual[0], [usual[1], usual[2], {}]
    return example[0], [example[1], example[2], usual[1], {}]


def _usual(rule: Rule, vocabulary: Vocabulary) -> Example:
    rows: Example = ({}, {}, {})
    for name in sorted(rule.reads):
        fact = vocabulary.facts[name]
        for row in rows[:1] if fact.scope == "situation" else rows[1:]:
            row[name] = _default(fact)
    return rows


def _default(fact: Fact) -> Value:
    if fact.type in NUMERIC:
        return 1
    if fact.type == "boolean":
        return True
    if fact.type == "words":
        return frozenset(fact.values[:1])
    return fact.values[0] if fact.values else "some"


def find_example(rule: Rule, branch: Branch, vocabulary: Vocabulary) -> Example | None:
    """A situation and records on which every test of ``branch`` is true, if repairs find one."""
    random = Random(rule.id)
    for _ in range(_TRIES):
        rows = _usual(rule, vocabulary)
        for _ in range(_REPAIRS):
            broken = [test for test in branch if not _true(test, rows)]
            if not broken:
                return rows
            for test in broken:
                _repair(test, rows, vocabulary, random)
    return None


def _true(test: Test, rows: Example) -> bool:
    left = evaluate(test.read, rows)
    if test.op == "known":
        return (left is not None) == test.literal
    right: object = test.literal if test.term is None else evaluate(test.term, rows)
    if left is None or right is None:
        return False
    if isinstance(left, frozenset):
        return (right in left) == (test.op == "has")
    if isinstance(right, tuple):
        return (left in right) == (test.op == "in")
    if test.op in ("is", "is_not"):
        return (left == right) == (test.op == "is")
    assert isinstance(left, (int, float))
    assert isinstance(right, (int, float))
    holds = {
        "at_least": left >= right, "at_most": left <= right, "above": left > right, "below": left < right,
    }  # fmt: skip
    return holds[test.op]


def _repair(test: Test, rows: Example, vocabulary: Vocabulary, random: Random) -> None:
    """Change the fact on the left (now and then one on the right) so that ``test`` may hold."""
    fact = vocabulary.facts[test.read.fact]
    reads = [test.read, *(term_reads(test.term) if test.term is not None else ())]
    for read in reads:
        if test.op != "known" and evaluate(read, rows) is None:
            _row(read, rows)[read.fact] = _default(vocabulary.facts[read.fact])
    row = _row(test.read, rows)
    if test.op == "known":
        if test.literal:
            row[fact.name] = _default(fact)
        else:
            row.pop(fact.name, None)
        return
    right = test.literal if test.term is None else evaluate(test.term, rows)
    if len(reads) > 1 and fact.type in NUMERIC and random.random() < 0.4:
        _nudge(random.choice(reads[1:]), rows, vocabulary, random)
        return
    value = _fitting(fact, test.op, row[fact.name], right, random)
    if not isinstance(value, (int, float)) or abs(value) <= FACT_LIMIT:
        row[fact.name] = value


def _row(read: Read, rows: Example) -> Row:
    return rows[("situation", "record", "other").index(read.whose)]


def _nudge(read: Read, rows: Example, vocabulary: Vocabulary, random: Random) -> None:
    value = _row(read, rows)[read.fact]
    if vocabulary.facts[read.fact].type in NUMERIC and isinstance(value, (int, float)):
        _row(read, rows)[read.fact] = value + random.choice((-20, -5, -1, 1, 5, 20))


def _fitting(fact: Fact, op: str, left: Value, right: object, random: Random) -> Value:
    if isinstance(left, frozenset):
        return left | {str(right)} if op == "has" else left - {str(right)}
    if isinstance(right, tuple):
        return random.choice(right) if op == "in" else _different(fact, right, random)
    if op == "is_not":
        return _different(fact, (right,), random)
    if op == "is":
        assert isinstance(right, (int, float, bool, str))
        return right if fact.type != "integer" else int(right)
    assert isinstance(right, (int, float))
    if fact.type == "integer":
        up, down = math.ceil(right), math.floor(right)
        return {"at_least": up, "at_most": down, "above": down + 1, "below": up - 1}[op]
    step = random.choice(_STEPS)
    return {"at_least": right, "at_most": right, "above": right + step, "below": right - step}[op]


def _different(fact: Fact, taken: Sequence[object], random: Random) -> Value:
    if fact.type == "boolean":
        return not taken[0]
    if fact.type in NUMERIC:
        return next(value for value in range(random.randrange(100), 10_000) if value not in taken)
    words = [word for word in (*fact.values, "some", "another", "third") if word not in taken]
    return random.choice(words) if words else "fourth"
