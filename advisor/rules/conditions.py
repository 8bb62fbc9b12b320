"""Reading the conditions and expressions of a rule, and refusing those that cannot be meant.

The written forms are ``{fact: NAME, OP: RIGHT}``, ``{any: [...]}``, ``{all: [...]}`` and
``{not: CONDITION}``; RIGHT is a literal, ``{fact: NAME}`` or arithmetic
``{sum: [a, b]}``, ``{difference: [a, b]}``, ``{product: [a, b]}``.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from advisor.documents import Document
from advisor.errors import Finding, did_you_mean
from advisor.rules.model import All, Arithmetic, Condition, Not, Number, Read, Some, Term, Test
from advisor.rules.vocabulary import FACT_LIMIT, NUMERIC, OTHER, WORD, Fact, Vocabulary

__all__ = ["ARITHMETIC", "EXACT_LIMIT", "OPERATORS", "ConditionReader", "Path_"]

Path_ = tuple[str | int, ...]

EQUALITY = ("is", "is_not")
ORDER = ("at_least", "at_most", "above", "below")
CHOICE = ("in", "not_in")
HOLDING = ("has", "has_not")
OPERATORS = (*EQUALITY, *ORDER, *CHOICE, *HOLDING, "known")
ARITHMETIC = ("sum", "difference", "product")
DIVISION = frozenset({"quotient", "divide", "division", "div", "ratio", "modulo", "remainder"})
NESTS = ("any", "all", "not")

EXACT_LIMIT = 2**53
"""Whole numbers up to this size are exact as floats too; arithmetic that could pass it is refused."""

_MEANT: dict[str, tuple[str, ...]] = {
    "integer": (*EQUALITY, *ORDER, *CHOICE, "known"),
    "number": (*EQUALITY, *ORDER, *CHOICE, "known"),
    "boolean": (*EQUALITY, "known"),
    "word": (*EQUALITY, *CHOICE, "known"),
    "words": (*HOLDING, "known"),
}
_KIND = {"integer": "a whole number", "number": "a number", "boolean": "true or false", "word": "a word"}


class ConditionReader:
    """Turns written conditions into ``Condition`` data; every fault goes to ``findings``."""

    def __init__(
        self,
        document: Document,
        vocabulary: Vocabulary,
        scope: str,
        words: Mapping[str, frozenset[str]],
    ) -> None:
        self.document = document
        self.vocabulary = vocabulary
        self.scope = scope
        self.words = words
        self.findings: list[Finding] = []

    def fault(self, code: str, message: str, path: Path_, help: str = "") -> None:
        self.findings.append(self.document.finding(code, message, path, help=help))

    def conditions(self, raw: Any, path: Path_) -> tuple[Condition, ...]:
        if not isinstance(raw, list):
            self.fault("rule-shape", f"`{path[-1]}` must be a list of conditions", path)
            return ()
        found = [self.condition(item, (*path, index)) for index, item in enumerate(raw)]
        return tuple(item for item in found if item is not None)

    def condition(self, raw: Any, path: Path_) -> Condition | None:
        if not isinstance(raw, dict) or not raw:
            self.fault("rule-shape", "a condition must be a block such as `{fact: mine.reach, above: 1}`", path)
            return None
        for nest in NESTS:
            if nest in raw:
                return self._nest(raw, nest, path)
        return self._test(raw, path)

    def _nest(self, raw: dict[str, Any], nest: str, path: Path_) -> Condition | None:
        for key in raw:
            if key != nest:
                self.fault("rule-key-unknown", f"`{key}` cannot stand beside `{nest}`", (*path, key))
        if nest == "not":
            item = self.condition(raw["not"], (*path, "not"))
            return None if item is None else Not(item)
        if raw[nest] == []:
            self.fault("rule-empty", f"`{nest}` is empty", (*path, nest), "add a condition, or leave it out")
            return None
        items = self.conditions(raw[nest], (*path, nest))
        return All(items) if nest == "all" else Some(items)

    def read(self, name: Any, path: Path_) -> tuple[Read, Fact] | None:
        """The fact called ``name``, if a rule of this scope may read it."""
        if not isinstance(name, str):
            self.fault("rule-shape", f"`{name}` is not the name of a fact", path)
            return None
        plain = name.removeprefix(OTHER)
        fact = self.vocabulary.facts.get(plain)
        if fact is None:
            self.fault(
                "rule-unknown-fact", f"no fact is called `{name}`", path, self.vocabulary.nearest(name)
            )
            return None
        if plain != name and fact.scope == "situation":
            self.fault(
                "rule-scope-mismatch", f"`{name}`: the situation is the same for every record", path,
                f"read `{plain}`",
            )  # fmt: skip
            return None
        if fact.scope not in ("situation", self.scope):
            self.fault(
                "rule-scope-mismatch",
                f"a rule of scope `{self.scope}` cannot read `{plain}`, a fact of scope `{fact.scope}`",
                path,
                f"set `scope: {fact.scope}`, or read a fact of the {self.scope} or the situation",
            )
            return None
        whose = "situation" if fact.scope == "situation" else "other" if plain != name else "record"
        return Read(plain, whose), fact

    def _test(self, raw: dict[str, Any], path: Path_) -> Test | None:
        if "fact" not in raw:
            self.fault(
                "rule-shape", "a condition needs `fact`", path,
                did_you_mean(next(iter(raw)), ("fact", *NESTS)) or "or `any`, `all`, `not`",
            )  # fmt: skip
            return None
        op = self._operator(raw, path)
        known = self.read(raw["fact"], (*path, "fact"))
        if op is None or known is None:
            return None
        read, fact = known
        if op not in _MEANT.get(fact.type, ()):
            self._not_meant(op, fact, path)
            return None
        return self._right(read, fact, op, raw[op], (*path, op))

    def _operator(self, raw: dict[str, Any], path: Path_) -> str | None:
        others = [key for key in raw if key != "fact"]
        unknown = [key for key in others if key not in OPERATORS]
        for key in unknown:
            near = did_you_mean(key, OPERATORS) or f"one of {', '.join(OPERATORS)}"
            self.fault("rule-unknown-operator", f"unknown operator `{key}`", (*path, key), near)
        if len(others) > 1 and not unknown:
            self.fault(
                "rule-several-operators", f"a condition has one operator, not {', '.join(others)}",
                (*path, others[1]), "write one condition for each",
            )  # fmt: skip
            return None
        if not others:
            self.fault(
                "rule-no-operator", "the condition compares with nothing", path,
                f"add one of {', '.join(OPERATORS)}",
            )  # fmt: skip
        return others[0] if len(others) == 1 and not unknown else None

    def _not_meant(self, op: str, fact: Fact, path: Path_) -> None:
        if fact.type == "text":
            self.fault(
                "rule-text-fact", f"`{fact.name}` is text, only for sentences", (*path, "fact"),
                "test a word, a number or a boolean",
            )  # fmt: skip
            return
        self.fault(
            "rule-operator-type", f"`{op}` cannot be asked of {fact.shown()}", (*path, op),
            f"one of {', '.join(_MEANT[fact.type])}",
        )  # fmt: skip

    def _right(self, read: Read, fact: Fact, op: str, right: Any, path: Path_) -> Test | None:
        if op == "known":
            if isinstance(right, bool):
                return Test(read, op, literal=right)
            self.fault("rule-literal-type", f"`known` needs true or false, not `{right}`", path)
            return None
        if op in CHOICE:
            return self._choice(read, fact, op, right, path)
        if op in HOLDING:
            return Test(read, op, literal=right) if self.literal(fact, right, path) else None
        if not isinstance(right, dict):
            return Test(read, op, literal=right) if self.literal(fact, right, path) else None
        term = self.term(right, path, like=fact)
        if term is None:
            return None
        if isinstance(term, Number):
            return Test(read, op, literal=term.value)
        return Test(read, op, term=term)

    def _choice(self, read: Read, fact: Fact, op: str, right: Any, path: Path_) -> Test | None:
        if not isinstance(right, list) or not right:
            self.fault("rule-literal-type", f"`{op}` needs a list of values, not `{right}`", path)
            return None
        good = [self.literal(fact, item, (*path, index)) for index, item in enumerate(right)]
        return Test(read, op, literal=tuple(dict.fromkeys(right))) if all(good) else None

    def literal(self, fact: Fact, value: Any, path: Path_) -> bool:
        """Whether ``value`` can be a value of ``fact`` (for words: one member)."""
        if fact.type in NUMERIC:
            return self._number(fact, value, path)
        if fact.type == "boolean":
            return isinstance(value, bool) or self._wrong(fact, value, path)
        if not isinstance(value, str) or not WORD.match(value):
            return self._wrong(fact, value, path)
        allowed = fact.values or tuple(sorted(self.words.get(fact.of, ())))
        if allowed and value not in allowed:
            near = did_you_mean(value, allowed) or f"one of {', '.join(allowed[:12])}"
            self.fault("rule-word-unknown", f"`{fact.name}` is never `{value}`", path, near)
            return False
        return True

    def _number(self, fact: Fact, value: Any, path: Path_) -> bool:
        kinds = (int,) if fact.type == "integer" else (int, float)
        if isinstance(value, bool) or not isinstance(value, kinds):
            return self._wrong(fact, value, path)
        if not -FACT_LIMIT <= value <= FACT_LIMIT:
            self.fault("rule-number-range", f"`{value}` is beyond {FACT_LIMIT}", path)
            return False
        return True

    def _wrong(self, fact: Fact, value: Any, path: Path_) -> bool:
        shown = "a list or block" if isinstance(value, (list, dict)) else f"`{value}`"
        wanted = _KIND.get(fact.type, "a word")
        self.fault("rule-literal-type", f"{fact.shown()} is {wanted}, not {shown}", path)
        return False

    def term(self, raw: Any, path: Path_, *, like: Fact) -> Term | None:
        """The right side ``raw``, of the type of ``like``."""
        if isinstance(raw, dict) and set(raw) == {"fact"}:
            known = self.read(raw["fact"], (*path, "fact"))
            if known is None:
                return None
            read, fact = known
            same = fact.type == like.type or {fact.type, like.type} <= NUMERIC
            if not same or fact.type == "text":
                self.fault(
                    "rule-literal-type",
                    f"{like.shown()} cannot be compared with {fact.shown()}: {like.type} against {fact.type}",
                    (*path, "fact"),
                )
                return None
            return read
        if like.type not in NUMERIC:
            self._wrong(like, raw, path)
            return None
        term = self._arithmetic(raw, path)
        if term is not None and _bound(term) > EXACT_LIMIT:
            self.fault(
                "rule-arithmetic-range", "the arithmetic could leave the range of exact numbers", path,
                "multiply fewer facts",
            )  # fmt: skip
            return None
        return term

    def _arithmetic(self, raw: Any, path: Path_) -> Term | None:
        if not isinstance(raw, dict) or len(raw) != 1:
            self.fault(
                "rule-shape", "the right side must be a value, `{fact: NAME}` or one sum, difference or product",
                path,
            )  # fmt: skip
            return None
        op, parts = next(iter(raw.items()))
        if op in DIVISION:
            self.fault(
                "rule-division", f"`{op}`: rules do not divide", (*path, op),
                "multiply the other side with `product`",
            )  # fmt: skip
            return None
        if op not in ARITHMETIC:
            near = did_you_mean(op, ARITHMETIC) or f"one of {', '.join(ARITHMETIC)}"
            self.fault("rule-unknown-operator", f"unknown arithmetic `{op}`", (*path, op), near)
            return None
        wanted = isinstance(parts, list) and len(parts) >= 2 and (op != "difference" or len(parts) == 2)
        if not wanted:
            count = "exactly two terms" if op == "difference" else "at least two terms"
            self.fault("rule-shape", f"`{op}` needs a list of {count}", (*path, op))
            return None
        terms = [self._part(part, (*path, op, index)) for index, part in enumerate(parts)]
        good = [term for term in terms if term is not None]
        return _folded(op, good) if len(good) == len(terms) else None

    def _part(self, raw: Any, path: Path_) -> Term | None:
        if isinstance(raw, dict) and set(raw) != {"fact"}:
            return self._arithmetic(raw, path)
        if isinstance(raw, (int, float)) and not isinstance(raw, bool):
            if abs(raw) > FACT_LIMIT:
                self.fault("rule-number-range", f"`{raw}` is beyond {FACT_LIMIT}", path)
                return None
            return Number(raw)
        name = raw["fact"] if isinstance(raw, dict) else raw
        if not isinstance(name, str):
            self.fault("rule-arithmetic-type", "a term is a number, the name of a fact, or arithmetic", path)
            return None
        known = self.read(name, path)
        if known is None:
            return None
        read, fact = known
        if fact.type not in NUMERIC:
            self.fault("rule-arithmetic-type", f"{fact.shown()} is {fact.type}, not a number", path)
            return None
        return read


def _folded(op: str, terms: list[Term]) -> Term:
    """Left to right as written, with leading numbers worked out: no part is all numbers."""
    result = terms[0]
    for term in terms[1:]:
        if isinstance(result, Number) and isinstance(term, Number):
            a, b = result.value, term.value
            result = Number(a + b if op == "sum" else a - b if op == "difference" else a * b)
        else:
            result = Arithmetic(op, (result, term))
    return result


def _bound(term: Term) -> float:
    """The largest size a term can have when every fact keeps to ``FACT_LIMIT``."""
    if isinstance(term, Read):
        return FACT_LIMIT
    if isinstance(term, Number):
        return abs(term.value)
    left, right = (_bound(part) for part in term.terms)
    return left * right if term.op == "product" else left + right
