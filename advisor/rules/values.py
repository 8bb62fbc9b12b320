"""The values that rules may meet, checked the same way whichever evaluator reads them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from advisor.errors import Fault
from advisor.rules.model import WHOSE, Number, Read, Term
from advisor.rules.vocabulary import FACT_LIMIT, WORD, Fact, Value

__all__ = ["GUARD_NAMES", "evaluate", "guard_source", "refuse"]

_SEEN: set[str] = set()
_SEEN_LIMIT = 20_000


def refuse(name: str, value: object) -> None:
    """Say that ``value`` cannot be a value of the fact ``name``.

    Errors: ``Fault``, always.
    """
    shown = repr(value)
    shown = shown if len(shown) <= 60 else shown[:57] + "..."
    raise Fault("fault", f"fact `{name}` cannot be `{shown}`", help=f"see `{name}` in the vocabulary")


def new_word(name: str, value: str) -> None:
    """Remember a word after checking it; words seen before are not checked again."""
    if not WORD.match(value):
        refuse(name, value)
    if len(_SEEN) >= _SEEN_LIMIT:
        _SEEN.clear()
    _SEEN.add(value)


GUARD_NAMES: dict[str, object] = {
    "LIMIT": FACT_LIMIT, "NUMBERS": (int, float), "SEEN": _SEEN, "refuse": refuse, "new_word": new_word,
}  # fmt: skip
"""What the lines of ``guard_source`` need in their namespace."""

_GUARDS = {
    "integer": "if type({v}) is not int or not -LIMIT <= {v} <= LIMIT: refuse({n!r}, {v})",
    "number": "if type({v}) not in NUMBERS or not -LIMIT <= {v} <= LIMIT: refuse({n!r}, {v})",
    "boolean": "if {v} is not True and {v} is not False: refuse({n!r}, {v})",
    "word": "if type({v}) is not str: refuse({n!r}, {v})\n{i}if {v} not in SEEN: new_word({n!r}, {v})",
    "words": "if type({v}) is not frozenset: refuse({n!r}, {v})",
}


def guard_source(fact: Fact, variable: str, indent: str) -> str:
    """A line of Python that refuses a wrong value of ``fact`` in ``variable`` (never unknown there)."""
    return indent + _GUARDS[fact.type].format(v=variable, n=fact.name, i=indent)


def evaluate(term: Value | Term, rows: Sequence[Mapping[str, Value]]) -> Value | None:
    """The value of a derived expression, or None when a fact in it is unknown.

    Shape: ``rows`` are the situation, the record and, for pairs, the other record.
    """
    if isinstance(term, Read):
        return rows[WHOSE.index(term.whose)].get(term.fact)
    if isinstance(term, Number):
        return term.value
    if isinstance(term, (bool, int, float, str, frozenset)):
        return term
    left, right = (evaluate(part, rows) for part in term.terms)
    if left is None or right is None:
        return None
    assert isinstance(left, (int, float))
    assert isinstance(right, (int, float))
    if term.op == "sum":
        return left + right
    return left - right if term.op == "difference" else left * right
