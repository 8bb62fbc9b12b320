"""The order in which rules must run: a rule that reads a derived fact comes after those deriving it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from advisor.rules.model import Rule

__all__ = ["FactCycleError", "layered"]


class FactCycleError(Exception):
    """Derived facts that need each other; ``facts`` is the circle, ``rule`` one rule in it."""

    def __init__(self, facts: Sequence[str], rule: Rule) -> None:
        super().__init__(" -> ".join(facts))
        self.facts = tuple(facts)
        self.rule = rule


def layered(rules: Iterable[Rule]) -> tuple[tuple[Rule, ...], ...]:
    """The rules of one scope in layers, load order kept inside each.

    A rule's layer is 0 when it reads no derived fact, else one more than the highest layer of a
    rule that derives a fact it reads.

    Errors: ``FactCycleError``.
    """
    listed = list(rules)
    derivers: dict[str, list[Rule]] = {}
    for rule in listed:
        for name, _ in rule.facts:
            derivers.setdefault(name, []).append(rule)
    levels: dict[str, int] = {}
    for rule in listed:
        _level(rule, derivers, levels, [])
    depth = max(levels.values(), default=-1) + 1
    layers: list[list[Rule]] = [[] for _ in range(depth)]
    for rule in listed:
        layers[levels[rule.id]].append(rule)
    return tuple(tuple(layer) for layer in layers)


def _level(rule: Rule, derivers: dict[str, list[Rule]], levels: dict[str, int], trail: list[str]) -> int:
    if rule.id in levels:
        return levels[rule.id]
    level = 0
    for name in sorted(rule.reads & derivers.keys()):
        if name in trail:
            raise FactCycleError([*trail[trail.index(name) :], name], rule)
        for source in derivers[name]:
            level = max(level, _level(source, derivers, levels, [*trail, name]) + 1)
    levels[rule.id] = level
    return level
