"""Rules read straight from their YAML data: the slow, obvious third opinion of the tests.

It knows nothing of the product's loader, compiler or evaluators. A condition is True, False or
None (unknown), worked out by walking the written tree.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from typing import Any

__all__ = ["conclude", "missing_of", "truth"]

Row = Mapping[str, Any]
Rows = tuple[Row, Row, Row | None]
OPERATORS = {"is", "is_not", "at_least", "at_most", "above", "below", "in", "not_in", "has", "has_not", "known"}


def look(name: str, rows: Rows) -> Any:
    """The value of a fact; the situation, then the record; ``other.`` facts of the other record."""
    situation, record, other = rows
    if name.startswith("other."):
        return None if other is None else other.get(name[len("other.") :])
    return record[name] if name in record else situation.get(name)


def number(written: Any, rows: Rows) -> Any:
    if isinstance(written, str):
        return look(written, rows)
    if not isinstance(written, dict):
        return written
    if "fact" in written:
        return look(written["fact"], rows)
    ((op, terms),) = written.items()
    values = [number(term, rows) for term in terms]
    if any(value is None for value in values):
        return None
    result = values[0]
    for value in values[1:]:
        result = result + value if op == "sum" else result - value if op == "difference" else result * value
    return result


def test(written: Row, rows: Rows) -> bool | None:
    (op,) = set(written) & OPERATORS
    left, right = look(written["fact"], rows), written[op]
    if op == "known":
        return (left is not None) is right
    if isinstance(right, dict):
        right = number(right, rows)
    if left is None or right is None:
        return None
    return bool(
        left == right if op == "is"
        else left != right if op == "is_not"
        else left >= right if op == "at_least"
        else left <= right if op == "at_most"
        else left > right if op == "above"
        else left < right if op == "below"
        else left in right if op == "in"
        else left not in right if op == "not_in"
        else right in left if op == "has"
        else right not in left
    )  # fmt: skip


def every(values: Sequence[bool | None]) -> bool | None:
    return False if False in values else None if None in values else True


def some(values: Sequence[bool | None]) -> bool | None:
    return True if True in values else None if None in values else False


def opposite(value: bool | None) -> bool | None:
    return None if value is None else not value


def condition(written: Row, rows: Rows) -> bool | None:
    if "not" in written:
        return opposite(condition(written["not"], rows))
    if "all" in written:
        return every([condition(item, rows) for item in written["all"]])
    if "any" in written:
        return some([condition(item, rows) for item in written["any"]])
    return test(written, rows)


def truth(rule: Row, rows: Rows) -> bool | None:
    """Whether the rule holds: all of ``when``, none of ``unless``."""
    when = [condition(item, rows) for item in rule["when"]]
    return every([*when, *(opposite(condition(item, rows)) for item in rule.get("unless", []))])


def names_in(written: Any) -> set[str]:
    """Every fact that a condition or expression names."""
    if isinstance(written, list):
        return set().union(*(names_in(item) for item in written)) if written else set()
    if not isinstance(written, dict):
        return set()
    found = {written["fact"]} if "fact" in written else set()
    for key in ("sum", "difference", "product"):
        found |= {term for term in written.get(key, []) if isinstance(term, str)}
    return found.union(*(names_in(value) for value in written.values()))


def reads(rule: Row) -> set[str]:
    derived = list(rule["conclude"].get("facts", {}).values())
    return names_in(rule["when"]) | names_in(rule.get("unless", [])) | names_in(derived)


def pairs(rule: Row) -> bool:
    return any(name.startswith("other.") for name in reads(rule))


def missing_of(rule: Row, rows: Rows) -> set[str]:
    """Missing facts whose value could still matter: any of those the rule names and lacks."""
    return {name for name in reads(rule) if look(name, rows) is None}


def derives(rule: Row) -> set[str]:
    return set(rule["conclude"].get("facts", {}))


def derived_value(written: Any, rows: Rows) -> Any:
    if isinstance(written, list):
        return frozenset(written)
    return number(written, rows) if isinstance(written, dict) else written


def conclude(
    rules: Sequence[Row], scope: str, situation: Row, records: Sequence[Row]
) -> list[tuple[str, int, int | None, dict[str, Any]]]:
    """(rule, record, other, derived facts) of every rule that holds, by record, load order, other."""
    mine = [rule for rule in rules if rule["scope"] == scope]
    waiting = list(mine)
    rows = [dict(record) for record in records]
    source: dict[tuple[int, str], int] = {}
    found: list[tuple[int, int, int, dict[str, Any]]] = []
    while waiting:
        # A rule may run once every rule that derives a fact it reads has run.
        open_facts = set().union(*(derives(rule) for rule in waiting))
        ready = [r for r in waiting if not {n.removeprefix("other.") for n in reads(r)} & open_facts]
        assert ready, "the rules wait for each other"
        waiting = [rule for rule in waiting if rule not in ready]
        fired = [hit for rule in ready for hit in holds(mine.index(rule), rule, situation, rows)]
        found += fired
        for record, order, _, facts in sorted(fired, key=lambda hit: hit[:3]):
            for name, value in facts.items():
                given = records[record].get(name) is not None
                if not given and order < source.get((record, name), len(mine)):
                    rows[record][name] = value
                    source[record, name] = order
    found.sort(key=lambda hit: hit[:3])
    return [(mine[order]["id"], record, None if other < 0 else other, facts) for record, order, other, facts in found]


def holds(order: int, rule: Row, situation: Row, rows: Sequence[Row]) -> list[tuple[int, int, int, dict[str, Any]]]:
    everyone = range(len(rows))
    places = [(r, o) for r, o in itertools.product(everyone, everyone) if r != o] if pairs(rule) else []
    places = places if pairs(rule) else [(r, -1) for r in everyone]
    found = []
    for record, other in places:
        three = (situation, rows[record], rows[other] if other >= 0 else None)
        if truth(rule, three) is True:
            written = rule["conclude"].get("facts", {})
            values = {name: derived_value(value, three) for name, value in written.items()}
            found.append((record, order, other, {n: v for n, v in values.items() if v is not None}))
    return found
