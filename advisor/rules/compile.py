"""The encoding of rules for the engine: patterns of numbers that keep within what it can hold.

Every value becomes a number (a boolean 1 or 0, a word a code), so no text ever reaches the
engine. A rule's condition is unfolded into branches; each branch is one engine rule of two
patterns, the situation first, then the record (for pairs a third, the other record). Tests
against a literal come before joins, in one flat ``$and`` whose last join stands twice, because
the engine reads past the end of a conjunction that ends in a single join. A join meets only
properties that are always there: joined facts have a column of their own that is 0 when unknown,
guarded by a literal test on a column that says whether the fact is known.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any

from msgspec import Raw, Struct

from advisor.rules.branches import Branch, TooWideError, branches
from advisor.rules.model import Number, Read, Rule, Term, Test, term_reads
from advisor.rules.vocabulary import Vocabulary

__all__ = [
    "MAX_JOINS",
    "RECORD",
    "SENTINEL",
    "SITUATION",
    "Branched",
    "Column",
    "Group",
    "Sheet",
    "compile_groups",
    "encodable",
    "number",
]

MAX_JOINS = 27
"""Join tests of one pattern; the engine takes 29 with the doubled one."""
MAX_WEIGHT = 50
"""Patterns that may hang on one fact in one engine rule set; it fails beyond 64."""
MAX_COLUMNS = 200
"""Properties of one fact; the engine takes 252."""

SENTINEL, SITUATION, RECORD = 1, 2, 3
"""Values of the kind property ``z``."""

_PATTERN = {"situation": "s", "record": "r", "other": "o"}
_DEPTH = {"situation": 0, "record": 1, "other": 2}
_ORDER = {"at_least": "$gte", "at_most": "$lte", "above": "$gt", "below": "$lt", "is_not": "$neq"}
_FLIP = {"at_least": "at_most", "at_most": "at_least", "above": "below", "below": "above"}
_ARITHMETIC = {"sum": "$add", "difference": "$sub", "product": "$mul"}

Json = dict[str, Any]


class Column(Struct, frozen=True):
    """A property of an encoded fact: ``kind`` is value, join, known, has or among."""

    kind: str
    fact: str
    argument: str | tuple[int | float | str, ...] = ""


class Sheet:
    """The columns that one kind of fact (situation or record) needs in one group of rules."""

    def __init__(self, prefix: str) -> None:
        self.prefix = prefix
        self.columns: dict[Column, str] = {}
        self.facts: dict[str, None] = {}

    def column(self, kind: str, fact: str, argument: Any = "") -> str:
        """The property name of a column, made on first use."""
        self.facts.setdefault(fact)
        return self.columns.setdefault(Column(kind, fact, argument), f"{self.prefix}{len(self.columns)}")


class Branched(Struct, frozen=True):
    """A rule with the branches of its condition."""

    rule: Rule
    branches: tuple[Branch, ...]

    @property
    def weight(self) -> int:
        return len(self.branches) * (2 if self.rule.pairs else 1)


class Group:
    """Rules that share one engine rule set: its text, its columns, and which name is whose."""

    def __init__(self, members: Sequence[Branched], vocabulary: Vocabulary, codes: dict[str, int]) -> None:
        self.members = tuple(members)
        self.pairs = any(member.rule.pairs for member in members)
        self.vocabulary = vocabulary
        self.codes = codes
        self.sheets = {"situation": Sheet("p"), "record": Sheet("f")}
        self.needs_zero = False
        self.names: dict[str, Rule] = {}
        self.definitions: dict[str, Json] = {
            "begin": {"all": [{"m": {"z": SENTINEL}}]},
            # Fires once a session when the situation, the last fact, has arrived.
            "end": {"all": [{"s": {"z": SITUATION}}]},
        }
        for member in members:
            for fact in sorted(member.rule.reads):
                self._sheet_of(fact).facts.setdefault(fact)
            for branch in member.branches:
                name = f"a{len(self.names)}"
                self.names[name] = member.rule
                self.definitions[name] = _Encoder(self, member.rule).definition(branch)

    def _sheet_of(self, fact: str) -> Sheet:
        scope = self.vocabulary.facts[fact].scope
        return self.sheets["situation" if scope == "situation" else "record"]

    def sheet(self, whose: str) -> Sheet:
        return self.sheets["situation" if whose == "situation" else "record"]

    def code(self, word: str) -> int:
        return self.codes.setdefault(word, len(self.codes) + 1)

    @property
    def columns(self) -> int:
        return max(len(sheet.columns) for sheet in self.sheets.values())


def number(value: float) -> int | float | Raw:
    """A number the engine reads as the same number: small ones written out, without exponent."""
    if isinstance(value, float) and value != 0 and -0.001 < value < 0.001:
        return Raw(_written_out(value))
    return value


def _written_out(value: float) -> bytes:
    digits, _, exponent = repr(value).partition("e")
    if not exponent:
        return digits.encode()
    sign = "-" if digits.startswith("-") else ""
    whole, _, fraction = digits.lstrip("-").partition(".")
    places = -int(exponent)
    return f"{sign}0.{(whole + fraction).rjust(places + len(fraction), '0')}".encode()


class _Encoder:
    """Encodes one branch of one rule."""

    def __init__(self, group: Group, rule: Rule) -> None:
        self.group = group
        self.rule = rule
        self.literals: dict[str, list[Json]] = {"situation": [], "record": [], "other": []}
        self.joins: dict[str, list[Json]] = {"record": [], "other": []}

    def definition(self, branch: Branch) -> Json:
        for test in branch:
            self._test(test)
        patterns = [self._pattern("situation", SITUATION), self._pattern("record", RECORD)]
        if self.rule.pairs:
            self.joins["other"].insert(0, {"$neq": {"n": {"r": "n"}}})
            patterns.append(self._pattern("other", RECORD))
        return {"all": patterns}

    def _pattern(self, whose: str, kind: int) -> Json:
        literals = [{"z": kind}, *_distinct(self.literals[whose])]
        joins = self.joins.get(whose, [])
        tests = [*literals, *joins, *joins[-1:]]
        return {_PATTERN[whose]: tests[0] if len(tests) == 1 else {"$and": tests}}

    def _literal(self, read: Read, test: Json) -> None:
        self.literals[read.whose].append(test)

    def _test(self, test: Test) -> None:
        if test.term is not None:
            self._join(test, test.term)
            return
        sheet, read, literal = self.group.sheet(test.read.whose), test.read, test.literal
        if test.op == "known":
            self._literal(read, {sheet.column("known", read.fact): int(bool(literal))})
        elif test.op in ("in", "not_in"):
            among = sheet.column("among", read.fact, literal)
            self._literal(read, {among: int(test.op == "in")})
        elif test.op in ("has", "has_not"):
            has = sheet.column("has", read.fact, literal)
            self._literal(read, {has: int(test.op == "has")})
        else:
            value = sheet.column("value", read.fact)
            self._literal(read, _compare(test.op, value, self._encoded(literal))[0])

    def _encoded(self, literal: Any) -> int | float | Raw:
        if isinstance(literal, str):
            return self.group.code(literal)
        return int(literal) if isinstance(literal, bool) else number(literal)

    def _join(self, test: Test, term: Term) -> None:
        reads = [test.read, *term_reads(term)]
        for read in reads:
            known = self.group.sheet(read.whose).column("known", read.fact)
            self._literal(read, {known: 1})
        # The first pattern cannot hold a join, so tests among situation facts go to the record.
        home = max((read.whose for read in reads), key=_DEPTH.__getitem__)
        home = "record" if home == "situation" else home
        # The engine sorts tests within one fact among the literals: doubling one of those last
        # would leave a single join at the end.
        own = all(read.whose == home for read in reads)
        (self.literals if own else self.joins)[home] += self._placed(test, term, home)

    def _placed(self, test: Test, term: Term, home: str) -> list[Json]:
        """The join as tests of the pattern ``home``, whose own property must stand on the left."""
        if test.read.whose == home:
            return _joined(test.op, self._property(test.read), self._right(term, home))
        if isinstance(term, Read) and term.whose == home:
            op = _FLIP.get(test.op, test.op)
            return _joined(op, self._property(term), self._right(test.read, home))
        # No single fact of this pattern to compare: 0 against the difference. Exact, because a
        # difference of two finite floats is 0 only when they are equal and keeps its sign.
        self.group.needs_zero = True
        right = {"$sub": {"$l": self._right(term, home), "$r": self._right(test.read, home)}}
        return _joined(test.op, "u", right)

    def _property(self, read: Read) -> str:
        return self.group.sheet(read.whose).column("join", read.fact)

    def _right(self, term: Term, home: str) -> Any:
        if isinstance(term, Number):
            return number(term.value)
        if isinstance(term, Read):
            own = term.whose == home
            return {"$m" if own else _PATTERN[term.whose]: self._property(term)}
        left, right = (self._right(part, home) for part in term.terms)
        return {_ARITHMETIC[term.op]: {"$l": left, "$r": right}}


def _compare(op: str, name: str, right: Any) -> list[Json]:
    return [{name: right}] if op == "is" else [{_ORDER[op]: {name: right}}]


def _joined(op: str, name: str, right: Any) -> list[Json]:
    # The engine joins equality by printed text (1 is not 1.0 there), so it is asked twice instead.
    if op == "is":
        return [{"$lte": {name: right}}, {"$gte": {name: right}}]
    return _compare(op, name, right)


def _distinct(tests: Iterable[Json]) -> list[Json]:
    found: list[Json] = []
    for test in tests:
        if test not in found:
            found.append(test)
    return found


def compile_groups(rules: Iterable[Rule], vocabulary: Vocabulary, codes: dict[str, int]) -> list[Group]:
    """The rules of one layer as engine rule sets, each small enough for the engine.

    Rules that look at pairs get groups of their own, as all their records must share a session.
    """
    branched = [Branched(rule, branches(rule.condition)) for rule in rules]
    groups: list[Group] = []
    for pairs in (False, True):
        waiting: list[Branched] = []
        for member in (m for m in branched if m.rule.pairs is pairs):
            if waiting and not _fits([*waiting, member], vocabulary):
                groups.append(Group(waiting, vocabulary, codes))
                waiting = []
            waiting.append(member)
        if waiting:
            groups.append(Group(waiting, vocabulary, codes))
    return groups


def _fits(members: Sequence[Branched], vocabulary: Vocabulary) -> bool:
    weight = sum(member.weight for member in members)
    return weight <= MAX_WEIGHT and Group(members, vocabulary, {}).columns <= MAX_COLUMNS


def encodable(rule: Rule, vocabulary: Vocabulary, fault: Callable[[str, str, str], None]) -> None:
    """Report through ``fault(code, message, help)`` what the engine could not hold of a rule."""
    try:
        parts = branches(rule.condition)
    except TooWideError:
        fault("rule-too-wide", "the condition unfolds into too many alternatives", "split it into several rules")
        return
    group = Group([Branched(rule, parts)], vocabulary, {})
    joins = max(_join_count(definition) for definition in group.definitions.values())
    if joins > MAX_JOINS + 1 or group.columns > MAX_COLUMNS:
        fault("rule-too-many-tests", "the rule makes too many comparisons", "split it into several rules")


def _join_count(definition: Json) -> int:
    """The most tests in one pattern whose right side is not a literal."""
    most = 0
    for pattern in definition["all"]:
        (body,) = pattern.values()
        tests = body.get("$and", ())
        most = max(most, sum(isinstance(_right_side(test), dict) for test in tests))
    return most


def _right_side(test: Json) -> Any:
    (inner,) = test.values()
    return next(iter(inner.values())) if isinstance(inner, dict) else inner
