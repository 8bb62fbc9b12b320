"""Random rules, situations and records for the tests that compare evaluators."""

from __future__ import annotations

import json
from pathlib import Path
from random import Random
from typing import Any

from advisor.rules import RuleSet, load_rules, load_vocabulary

__all__ = ["VOCABULARY", "Data", "random_question", "random_rules", "rule", "ruleset", "write_rules"]

Data = dict[str, Any]

VOCABULARY = Path(__file__).with_name("vocabulary.yaml")

NUMBERS = (-3, -1, 0, 1, 2, 3, 7, 0.1, 0.2, 0.3, 0.5, 1.0, 2.0, 2.5, -0.25, 0.00001, -0.000007, 89_000_000)
WORDS = {
    "situation.phase": ("neutral", "blocked", "knocked_down"),
    "mine.level": ("high", "mid", "low"),
    "theirs.level": ("high", "mid", "low"),
    "theirs.move": ("jab", "sweep", "hook"),
    "exchange.effect": ("hit", "blocked", "none"),
    "exchange.grade": ("fine", "poor"),
}
SETS = {
    "situation.seen": ("jab", "throw"), "mine.tags": ("hand", "foot", "tool"), "exchange.marks": ("good", "bad"),
}  # fmt: skip
TYPES = {
    "exchange": {
        "integer": ["situation.advantage", "mine.first_active", "mine.active", "theirs.first_active"],
        "number": ["situation.distance", "me.health", "mine.reach", "mine.damage"],
        "boolean": ["situation.cornered", "exchange.reaches", "exchange.breakable"],
        "word": ["situation.phase", "mine.level", "theirs.level", "theirs.move", "exchange.effect"],
        "words": ["situation.seen", "mine.tags"],
    },
    "response": {
        "integer": ["situation.advantage", "response.beats_count"],
        "number": ["situation.distance", "me.health", "response.worst"],
        "boolean": ["situation.cornered", "response.strict"],
        "word": ["situation.phase"],
        "words": ["situation.seen"],
    },
}
# Derived facts in an order: a rule that derives one reads only those before it.
DERIVED = {
    "exchange": {
        "exchange.margin": "integer", "exchange.grade": "word", "exchange.room": "number",
        "exchange.sure": "boolean", "exchange.marks": "words",
    },
    "response": {"response.rank": "integer"},
}  # fmt: skip
SITUATION = ("situation.", "me.")


class _Writer:
    def __init__(self, random: Random, scope: str, derived: dict[str, str], pairs: bool) -> None:
        self.random = random
        self.facts = {kind: list(names) for kind, names in TYPES[scope].items()}
        for name, kind in derived.items():
            self.facts[kind] += [name, name]
        self.pairs = pairs

    def fact(self, *kinds: str) -> str:
        name = self.random.choice([name for kind in kinds for name in self.facts[kind]])
        other = self.pairs and self.random.random() < 0.4 and not name.startswith(SITUATION)
        return f"other.{name}" if other else name

    def condition(self, depth: int = 2) -> dict[str, Any]:
        roll = self.random.random()
        if depth and roll < 0.3:
            nest = self.random.choice(("any", "all", "not"))
            if nest == "not":
                return {"not": self.condition(depth - 1)}
            return {nest: [self.condition(depth - 1) for _ in range(self.random.randint(1, 2))]}
        return self.test()

    def test(self) -> dict[str, Any]:
        kind = self.random.choices(("integer", "number", "boolean", "word", "words"), (4, 4, 2, 3, 2))[0]
        name = self.fact(kind)
        if self.random.random() < 0.08:
            return {"fact": name, "known": self.random.random() < 0.5}
        plain = name.removeprefix("other.")
        if kind == "words":
            return {"fact": name, self.random.choice(("has", "has_not")): self.random.choice(SETS[plain])}
        if kind in ("boolean", "word"):
            return self._equality(name, plain, kind)
        op = self.random.choice(("is", "is_not", "at_least", "at_most", "above", "below", "in", "not_in"))
        numbers = [n for n in NUMBERS if kind == "number" or isinstance(n, int)]
        if op in ("in", "not_in"):
            return {"fact": name, op: self.random.sample(numbers, self.random.randint(1, 3))}
        right = self.random.choice(numbers) if self.random.random() < 0.4 else self.term()
        return {"fact": name, op: right}

    def _equality(self, name: str, plain: str, kind: str) -> dict[str, Any]:
        op = self.random.choice(("is", "is_not"))
        if self.random.random() < 0.35:
            return {"fact": name, op: {"fact": self.fact(kind)}}
        if kind == "boolean":
            return {"fact": name, op: self.random.random() < 0.5}
        if self.random.random() < 0.4:
            words = self.random.sample(WORDS[plain], self.random.randint(1, 2))
            return {"fact": name, self.random.choice(("in", "not_in")): words}
        return {"fact": name, op: self.random.choice(WORDS[plain])}

    def term(self) -> dict[str, Any]:
        if self.random.random() < 0.4:
            return {"fact": self.fact("integer", "number")}
        return self.arithmetic(("integer", "number"), depth=1)

    def arithmetic(self, kinds: tuple[str, ...], depth: int) -> dict[str, Any]:
        op = self.random.choice(("sum", "sum", "difference", "difference", "product"))
        small = [n for n in NUMBERS if abs(n) < 10 and ("number" in kinds or isinstance(n, int))]
        terms: list[Any] = []
        for _ in range(2 if op != "sum" else self.random.randint(2, 3)):
            roll = self.random.random()
            if roll < 0.35:
                terms.append(self.random.choice(small))
            elif roll < 0.5 and depth and op != "product":
                terms.append(self.arithmetic(kinds, depth - 1))
            else:
                terms.append(self.fact(*kinds))
        return {op: terms}


def random_rules(random: Random) -> list[dict[str, Any]]:
    """A few rules, some that derive facts, some about pairs, as written data."""
    return [_rule(random, f"made/rule{index:02d}") for index in range(random.randint(2, 7))]


def _rule(random: Random, name: str) -> dict[str, Any]:
    scope = random.choice(("exchange", "exchange", "response"))
    order = list(DERIVED[scope])
    # Mostly the first facts, so that several rules derive one fact and others read it.
    place = min(random.randint(0, len(order)), random.randint(0, len(order))) if random.random() < 0.5 else len(order)
    known = {fact: DERIVED[scope][fact] for fact in order[:place]}
    pairs = random.random() < 0.25
    writer = _Writer(random, scope, known if random.random() < 0.8 else {}, pairs)
    when = [writer.condition() for _ in range(random.randint(1, 3))]
    rule: dict[str, Any] = {
        "id": name, "title": name, "scope": scope, "status": random.choice(("draft", "stable")), "why": "made up",
        "when": when, "conclude": {"verdict": "beats"}, "because": "{situation.advantage}",
    }  # fmt: skip
    if random.random() < 0.3:
        rule["unless"] = [writer.condition(1)]
    if place < len(order):
        # Without `other.` in the expression: a lone `other.` there is refused.
        plain = _Writer(random, scope, known, False)
        rule["conclude"]["facts"] = {order[place]: _derived(random, plain, order[place], DERIVED[scope][order[place]])}
    return rule


def _derived(random: Random, writer: _Writer, name: str, kind: str) -> Any:
    if kind == "boolean":
        return random.random() < 0.5
    if kind == "word":
        return random.choice(WORDS[name])
    if kind == "words":
        return random.sample(SETS[name], random.randint(1, 2))
    if random.random() < 0.4:
        return random.choice((1, 2, 3))
    # Sums of small facts only, so that the result stays a value a fact may have.
    small = [n for n in writer.facts[kind] if n not in ("me.health", "mine.damage")]
    return {"sum": [random.choice(small), random.choice((1, -1, 2))]}


def random_question(random: Random, scope: str) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """A situation and up to nine records, with facts missing here and there."""
    names = [(name, kind) for kind, facts in TYPES[scope].items() for name in facts]
    lacking = random.choice((0.0, 0.1, 0.4))
    situation = _values(random, [n for n in names if n[0].startswith(SITUATION)], lacking)
    own = [n for n in names if not n[0].startswith(SITUATION)]
    own += [n for n in DERIVED[scope].items() if random.random() < 0.1]
    return situation, [_values(random, own, lacking) for _ in range(random.randint(1, 9))]


def _values(random: Random, names: list[tuple[str, str]], lacking: float) -> dict[str, Any]:
    return {name: _value(random, name, kind) for name, kind in names if random.random() >= lacking}


def _value(random: Random, name: str, kind: str) -> Any:
    if kind == "integer":
        return random.choice([n for n in NUMBERS if isinstance(n, int) and abs(n) < 10])
    if kind == "number":
        big = name in ("me.health", "mine.damage")
        return random.choice([n for n in (*NUMBERS, 0.1 + 0.2, 1e-300, -0.0) if big or abs(n) < 10])
    if kind == "boolean":
        return random.random() < 0.5
    if kind == "words":
        return frozenset(random.sample(SETS[name], random.randint(0, 2)))
    return random.choice((*WORDS[name], "unheard_of"))


def write_rules(root: Path, rules: list[dict[str, Any]]) -> Path:
    """Write each rule to its file under ``root`` (JSON is YAML too) and give ``root``."""
    for rule in rules:
        path = root / f"{rule['id']}.yaml"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(_plain(json.dumps(rule)), encoding="utf-8")
    return root


def _plain(text: str) -> str:
    """The dialect has no exponents; the small numbers used here are written out."""
    return text.replace("1e-05", "0.00001").replace("7e-06", "0.000007")


def rule(name: str, when: list[Data], scope: str = "exchange", **more: Any) -> Data:
    """A small rule as written data."""
    conclude = more.pop("conclude", {"verdict": "beats"})
    return {
        "id": f"made/{name}", "title": name, "scope": scope, "status": "stable", "why": "made up",
        "when": when, "conclude": conclude, "because": "it does", **more,
    }  # fmt: skip


def ruleset(root: Path, *rules: Data) -> RuleSet:
    """``rules`` written under ``root`` and loaded."""
    return load_rules([write_rules(root, list(rules))], load_vocabulary(VOCABULARY))
