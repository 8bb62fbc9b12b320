"""Rules that are open: neither true nor false of a record, because a fact is missing.

Plain three-valued evaluation (Kleene's strong logic). The missing facts that an open rule hangs
on are those under the tests that are unknown and could still decide it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from weakref import WeakKeyDictionary

from advisor.rules.model import All, Arithmetic, Condition, Not, OpenRule, Read, Rule, RuleSet, Term, Test
from advisor.rules.plain import Layer, PlainEvaluator, compile_layer
from advisor.rules.staged import Hit, Values
from advisor.rules.values import evaluate
from advisor.rules.vocabulary import Value

__all__ = ["open_rules", "possible_verdicts"]

_Truth = bool | frozenset[str]
"""True, false, or the missing facts that an unknown condition hangs on."""

_Rows = tuple[Values, Values, Values]

_EVALUATORS: WeakKeyDictionary[RuleSet, PlainEvaluator] = WeakKeyDictionary()


def _evaluator(ruleset: RuleSet) -> PlainEvaluator:
    """The plain evaluator of a rule set; compiled once, as open rules are asked for often."""
    found = _EVALUATORS.get(ruleset)
    if found is None:
        found = _EVALUATORS[ruleset] = PlainEvaluator(ruleset)
    return found


_POSSIBLE: WeakKeyDictionary[RuleSet, dict[str, Layer]] = WeakKeyDictionary()


def possible_verdicts(
    ruleset: RuleSet, scope: str, situation: Values, records: Sequence[Values]
) -> list[tuple[int, Rule]]:
    """Every rule with a verdict that is not false of a record: index of the record, and the rule.

    Rules about pairs of records and rules that read derived facts are left out.
    """
    layers = _POSSIBLE.setdefault(ruleset, {})
    if scope not in layers:
        first = ruleset.strata(scope)[:1]
        rules = [r for layer in first for r in layer if r.verdict is not None and not r.pairs]
        layers[scope] = compile_layer(rules, ruleset, possible=True)
    found: list[Hit] = []
    layers[scope](situation, records, found)
    by_order = list(ruleset.rules.values())
    return [(record, by_order[order]) for record, order, _ in found]


def open_rules(
    ruleset: RuleSet,
    scope: str,
    situation: Values,
    records: Sequence[Values],
    *,
    verdicts_only: bool = False,
) -> list[OpenRule]:
    """The open rules of each record, in the order of record and rule.

    ``verdicts_only`` leaves out the rules that give no verdict and derive nothing.

    A rule about pairs is open when no other record makes it true and some may. A missing derived
    fact stands for the facts that the open rules deriving it hang on.
    """
    rules = [
        rule
        for layer in ruleset.strata(scope)
        for rule in layer
        if not verdicts_only or rule.verdict is not None or rule.facts
    ]
    rows = _evaluator(ruleset).extended(scope, situation, records) if rules else records
    found = [
        item for index in range(len(rows)) for item in _open_of_record(rules, index, situation, rows)
    ]
    found.sort(key=lambda item: (item.record, ruleset.order[item.rule]))
    return found


def _open_of_record(
    rules: Iterable[Rule], index: int, situation: Values, rows: Sequence[Values]
) -> list[OpenRule]:
    hanging: dict[str, frozenset[str]] = {}
    found: list[OpenRule] = []
    row = rows[index]
    known = {name for facts in (situation, row) for name, value in facts.items() if value is not None}
    for rule in rules:
        if rule.reads <= known and not rule.pairs:
            continue
        truth = _rule_truth(rule, index, situation, rows)
        if isinstance(truth, bool):
            continue
        missing = frozenset(source for name in truth for source in hanging.get(name, (name,)))
        for name, _ in rule.facts:
            hanging[name] = hanging.get(name, frozenset()) | missing
        found.append(OpenRule(rule.id, index, missing))
    return found


def _rule_truth(rule: Rule, index: int, situation: Values, rows: Sequence[Values]) -> _Truth:
    if not rule.pairs:
        return _truth(rule.condition, (situation, rows[index], {}))
    pairs = [(situation, rows[index], row) for other, row in enumerate(rows) if other != index]
    return _some([_truth(rule.condition, pair) for pair in pairs])


def _truth(condition: Condition, rows: _Rows) -> _Truth:
    if isinstance(condition, Test):
        return _test(condition, rows)
    if isinstance(condition, Not):
        return _negated(_truth(condition.item, rows))
    ends = not isinstance(condition, All)  # the part that settles the whole at once
    missing: frozenset[str] | None = None
    for item in condition.items:
        part = _truth(item, rows)
        if part is ends:
            return ends
        if isinstance(part, frozenset):
            missing = part if missing is None else missing | part
    return (not ends) if missing is None else missing


def _negated(truth: _Truth) -> _Truth:
    return not truth if isinstance(truth, bool) else truth


def _some(parts: Sequence[_Truth]) -> _Truth:
    if any(part is True for part in parts):
        return True
    missing = [part for part in parts if isinstance(part, frozenset)]
    return frozenset[str]().union(*missing) if missing else False


def _test(test: Test, rows: _Rows) -> _Truth:
    left = evaluate(test.read, rows)
    if test.op == "known":
        return (left is not None) == test.literal
    missing = frozenset(_missing((test.read, *((test.term,) if test.term is not None else ())), rows))
    if left is None or missing:
        return missing
    right = test.literal if test.term is None else evaluate(test.term, rows)
    return _holds(test.op, left, right)


def _missing(terms: Iterable[Term], rows: _Rows) -> Iterable[str]:
    for term in terms:
        if isinstance(term, Read) and evaluate(term, rows) is None:
            yield term.name
        elif isinstance(term, Arithmetic):
            yield from _missing(term.terms, rows)


def _holds(op: str, left: Value, right: object) -> bool:
    if op in ("has", "has_not"):
        assert isinstance(left, frozenset)
        return (right in left) == (op == "has")
    if op in ("in", "not_in"):
        assert isinstance(right, tuple)
        return (left in right) == (op == "in")
    if op in ("is", "is_not"):
        return (left == right) == (op == "is")
    assert isinstance(left, (int, float))
    assert isinstance(right, (int, float))
    if op in ("at_least", "below"):
        return (left >= right) == (op == "at_least")
    return (left <= right) == (op == "at_most")
