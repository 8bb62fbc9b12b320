"""The plain evaluator: each layer of rules becomes one Python function, written and compiled once.

It gives the same conclusions as the engine, runs wherever Python runs, and holds no state.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from advisor.rules.branches import positive
from advisor.rules.model import (
    All,
    Condition,
    Number,
    Read,
    Rule,
    RuleSet,
    Some,
    Term,
    Test,
    reads_in,
    term_reads,
)
from advisor.rules.staged import Hit, Staged, Values
from advisor.rules.values import GUARD_NAMES, guard_source
from advisor.rules.vocabulary import Vocabulary

__all__ = ["Layer", "PlainEvaluator", "compile_layer"]

Layer = Callable[[Values, Sequence[Values], list[Hit]], None]
"""Appends to the list every hit among the records, in order."""

_OPERATOR = {
    "is": "==", "is_not": "!=", "at_least": ">=", "at_most": "<=", "above": ">", "below": "<",
    "in": "in", "not_in": "not in",
}  # fmt: skip
_ARITHMETIC = {"sum": "+", "difference": "-", "product": "*"}


class PlainEvaluator(Staged):
    """Evaluates a rule set with plain Python."""

    name = "plain"

    def __init__(self, ruleset: RuleSet) -> None:
        super().__init__(ruleset)
        self._layers = {
            scope: [compile_layer(layer, ruleset) for layer in ruleset.strata(scope)]
            for scope in ("exchange", "response")
        }

    def _hits(self, scope: str, layer: int, situation: Values, records: Sequence[Values]) -> list[Hit]:
        found: list[Hit] = []
        self._layers[scope][layer](situation, records, found)
        self.stats.sessions += 1
        return found


def compile_layer(rules: Iterable[Rule], ruleset: RuleSet, *, possible: bool = False) -> Layer:
    """One function that finds every hit of ``rules``.

    With ``possible``, a hit is a condition that is not false: true, or unknown.
    """
    writer = _Writer(ruleset.vocabulary, possible)
    source = writer.source([(ruleset.order[rule.id], rule) for rule in rules])
    namespace: dict[str, object] = {**GUARD_NAMES, **writer.constants}
    exec(compile(source, "<rules>", "exec"), namespace)  # noqa: S102 - text made of checked names only
    layer: Layer = namespace["layer"]  # type: ignore[assignment]
    return layer


class _Writer:
    """Writes the function; facts are local variables, literals are constants by name."""

    def __init__(self, vocabulary: Vocabulary, possible: bool) -> None:
        self.vocabulary = vocabulary
        self.possible = possible
        self.variables: dict[Read, str] = {}
        self.constants: dict[str, object] = {}

    def source(self, rules: list[tuple[int, Rule]]) -> str:
        for _, rule in rules:
            for fact in sorted(rule.reads):
                situation = self.vocabulary.facts[fact].scope == "situation"
                self._variable(Read(fact, "situation" if situation else "record"))
        body = [line for order, rule in rules for line in self._rule(order, rule)]
        lines = ["def layer(situation, records, found):", "    get = situation.get"]
        lines += self._loads("situation", "get", "    ", guard=True)
        lines += ["    add = found.append", "    for n, record in enumerate(records):", "        get = record.get"]
        lines += self._loads("record", "get", "        ", guard=True)
        return "\n".join([*lines, *body, ""])

    def _variable(self, read: Read) -> str:
        return self.variables.setdefault(read, f"{read.whose[0]}{len(self.variables)}")

    def _loads(self, whose: str, get: str, indent: str, *, guard: bool) -> list[str]:
        lines: list[str] = []
        for read, variable in self.variables.items():
            if read.whose != whose:
                continue
            lines.append(f"{indent}{variable} = {get}({read.fact!r})")
            if guard:
                lines.append(f"{indent}if {variable} is not None:")
                lines.append(guard_source(self.vocabulary.facts[read.fact], variable, indent + "    "))
        return lines

    def _rule(self, order: int, rule: Rule) -> list[str]:
        condition = positive(rule.condition)
        if not rule.pairs:
            return [
                f"        if {self._true(condition)}:",
                f"            add((n, {order}, -1))",
            ]
        items = condition.items if isinstance(condition, All) else (condition,)
        alone = tuple(item for item in items if not any(read.other for read in reads_in(item)))
        paired = tuple(item for item in items if item not in alone)
        text = self._true(All(paired))
        others = sorted({read for read in reads_in(All(paired)) if read.other}, key=lambda read: read.fact)
        return [
            f"        if {self._true(All(alone))}:",
            "            for m, another in enumerate(records):",
            "                if m == n:",
            "                    continue",
            *(f"                {self._variable(read)} = another.get({read.fact!r})" for read in others),
            f"                if {text}:",
            f"                    add((n, {order}, m))",
        ]

    def _true(self, condition: Condition) -> str:
        """Python that is true exactly when the condition is true (not when it is unknown)."""
        if isinstance(condition, Test):
            return self._test(condition)
        assert isinstance(condition, (All, Some))
        if not condition.items:
            return "True" if isinstance(condition, All) else "False"
        word = " and " if isinstance(condition, All) else " or "
        return "(" + word.join(self._true(item) for item in condition.items) + ")"

    def _test(self, test: Test) -> str:
        left = self._variable(test.read)
        if test.op == "known":
            return f"{left} is not None" if test.literal else f"{left} is None"
        reads = dict.fromkeys((test.read, *(term_reads(test.term) if test.term is not None else ())))
        known = " and ".join(f"{self._variable(read)} is not None" for read in reads)
        if test.op in ("has", "has_not"):
            word = "in" if test.op == "has" else "not in"
            return self._when_known(known, f"{self._constant(test.literal)} {word} {left}")
        if test.term is None:
            literal = test.literal
            right = self._constant(frozenset(literal) if isinstance(literal, tuple) else literal)
        else:
            right = self._term(test.term)
        return self._when_known(known, f"{left} {_OPERATOR[test.op]} {right}")

    def _when_known(self, known: str, text: str) -> str:
        """The comparison where all it reads is known; else false, or true when what is possible counts.

        All negation stands in the tests themselves, so a condition is possible when its tests are.
        """
        return f"(not ({known}) or {text})" if self.possible else f"({known} and {text})"

    def _term(self, term: Term) -> str:
        if isinstance(term, Read):
            return self._variable(term)
        if isinstance(term, Number):
            return self._constant(term.value)
        left, right = (self._term(part) for part in term.terms)
        return f"({left} {_ARITHMETIC[term.op]} {right})"

    def _constant(self, value: object) -> str:
        if isinstance(value, (bool, int)):
            return repr(value)
        name = f"C{len(self.constants)}"
        self.constants[name] = value
        return name
