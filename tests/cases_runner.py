"""Runs the case files of rules: each case through every evaluator, and through the naive reading.

A case file mirrors its rule file and holds ``rule``, ``situation`` and ``base`` (facts of the
situation and of the record) and ``cases``. A case has ``name``, optionally ``situation`` and
``change`` (facts to set), ``drop`` (facts to leave out) and ``other`` (a second record), and one
expectation: ``fires`` (parts of the conclusion; also ``because``, the whole sentence),
``holds: true`` (the condition is false) or ``open`` (it is unknown, and hangs on these facts).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from advisor.documents import read_document
from advisor.errors import did_you_mean
from advisor.rules import (
    Conclusion,
    EngineEvaluator,
    PlainEvaluator,
    Rule,
    RuleSet,
    Staged,
    Vocabulary,
    engine_available,
    fill,
    load_rules,
    open_rules,
)
from tests.unit.rules import naive

__all__ = ["RuleFolder", "problems"]

FILE_KEYS = {"rule", "situation", "base", "cases"}
CASE_KEYS = {"name", "situation", "change", "drop", "other", "fires", "holds", "open"}
EXPECTED = ("fires", "holds", "open")
FIRES_KEYS = {"verdict", "tags", "caution", "prefer", "facts", "because", "other"}

Data = dict[str, Any]


class RuleFolder:
    """Rules of one folder, and the folder of their cases."""

    def __init__(self, roots: Sequence[Path], cases: Path, vocabulary: Vocabulary) -> None:
        self.vocabulary = vocabulary
        self.cases = cases
        self.ruleset = load_rules(roots, vocabulary)
        here = roots[-1].resolve()
        self.rules = {
            name: rule for name, rule in self.ruleset.rules.items() if Path(rule.file).resolve().is_relative_to(here)
        }

    def ids(self) -> list[str]:
        """Every rule, and every case file even when it has no rule."""
        files = (path.relative_to(self.cases).with_suffix("").as_posix() for path in self.cases.rglob("*.yaml"))
        return sorted({*self.rules, *(name for name in files if not name.startswith("packs/"))})


def problems(folder: RuleFolder, name: str) -> list[str]:
    """What is wrong with the rule ``name`` and its cases; empty when all is well."""
    rule, path = folder.rules.get(name), folder.cases / f"{name}.yaml"
    if rule is None:
        return [f"{path}: no rule `{name}`; {did_you_mean(name, folder.rules)}"]
    if not path.is_file():
        return [f"{rule.file}: no cases; write {path}"]
    return list(_CaseFile(folder, rule, path).problems())


class _CaseFile:
    def __init__(self, folder: RuleFolder, rule: Rule, path: Path) -> None:
        self.vocabulary = folder.vocabulary
        self.rule = rule
        self.path = path
        self.data: Data = read_document(path).value
        self.written: Data = read_document(Path(rule.file)).value
        self.alone = RuleSet({rule.id: rule}, folder.vocabulary, {rule.scope: ((rule,),)}, "")
        self.evaluators: list[Staged] = [PlainEvaluator(self.alone)]
        if engine_available():
            self.evaluators.append(EngineEvaluator(self.alone))

    def problems(self) -> Iterator[str]:
        strange = set(self.data) - FILE_KEYS
        if strange or self.data.get("rule") != self.rule.id:
            yield f"{self.path}: unknown keys {sorted(strange)}, or `rule` is not `{self.rule.id}`"
            return
        cases = self.data.get("cases") or []
        for kind in ("fires", "holds"):
            if not any(kind in case for case in cases):
                yield f"{self.path}: no case `{kind}`"
        for case in cases:
            for problem in self._case(case):
                yield f"{self.path}: case `{case.get('name')}`: {problem}"

    def _case(self, case: Data) -> Iterator[str]:
        wanted = [key for key in EXPECTED if key in case]
        if len(wanted) != 1 or set(case) - CASE_KEYS or not case.get("name"):
            yield "needs a name and one of fires, holds, open, and no key that is unknown"
            return
        situation = {**(self.data.get("situation") or {}), **(case.get("situation") or {})}
        record = {**(self.data.get("base") or {}), **(case.get("change") or {})}
        faults = [*self._dropped(case.get("drop") or [], situation, record)]
        rows = [record, *([case["other"]] if "other" in case else [])]
        faults += self._names(situation, {"situation"})
        for row in rows:
            faults += self._names(row, {self.rule.scope})
        if faults:
            yield from faults
            return
        values = [self._values(row) for row in rows]
        yield from self._outcome(case, wanted[0], self._values(situation), values)

    def _dropped(self, names: Sequence[str], situation: Data, record: Data) -> Iterator[str]:
        for name in names:
            if name not in situation and name not in record:
                yield f"drops `{name}`, which is not there"
            situation.pop(name, None)
            record.pop(name, None)

    def _names(self, facts: Data, scopes: set[str]) -> Iterator[str]:
        for name, value in facts.items():
            fact = self.vocabulary.facts.get(name)
            if fact is None:
                yield f"no fact `{name}`; {self.vocabulary.nearest(name)}"
            elif fact.scope not in scopes:
                yield f"`{name}` is a fact of the {fact.scope}"
            elif fact.values and not isinstance(value, list) and value not in fact.values:
                yield f"`{name}` is never `{value}`; {did_you_mean(str(value), fact.values)}"

    def _values(self, facts: Data) -> Data:
        given = {name: value for name, value in facts.items() if value is not None}
        return {name: frozenset(value) if isinstance(value, list) else value for name, value in given.items()}

    def _outcome(self, case: Data, wanted: str, situation: Data, rows: list[Data]) -> Iterator[str]:
        all_found = [evaluator.conclude(self.rule.scope, situation, rows) for evaluator in self.evaluators]
        by_hand = naive.conclude([self.written], self.rule.scope, situation, rows)
        for evaluator, found in zip(self.evaluators, all_found, strict=True):
            if [(c.rule, c.record, c.other, c.facts) for c in found] != by_hand:
                yield f"{type(evaluator).__name__} and the naive reading differ: {found} and {by_hand}"
        opened = [item for item in open_rules(self.alone, self.rule.scope, situation, rows) if item.record == 0]
        missing = set(opened[0].missing) if opened else set()
        mine = [conclusion for conclusion in all_found[0] if conclusion.record == 0]
        if wanted == "fires":
            yield from self._fires(case["fires"] or {}, mine, situation, rows, missing)
        elif mine:
            yield f"the rule fires: {mine[0]}"
        elif wanted == "holds" and (missing or case["holds"] is not True):
            yield f"the condition is not false but unknown: it hangs on {sorted(missing)}; write `open`"
        elif wanted == "open" and missing != set(case["open"]):
            yield f"hangs on {sorted(missing)}, not on {sorted(case['open'])}"

    def _fires(
        self, wanted: Data, found: list[Conclusion], situation: Data, rows: list[Data], missing: set[str]
    ) -> Iterator[str]:
        if not found:
            yield "the rule does not fire" + (f": it hangs on {sorted(missing)}" if missing else "")
            return
        conclusion = found[0]
        facts: Mapping[str, Any] = {**situation, **rows[0], **conclusion.facts}
        if conclusion.other is not None:
            facts = {**facts, **{f"other.{name}": value for name, value in rows[conclusion.other].items()}}
        said: Data = {
            "verdict": conclusion.verdict, "tags": list(conclusion.tags), "prefer": conclusion.prefer,
            "facts": conclusion.facts, "other": conclusion.other,
            "because": fill(self.rule.because, self.vocabulary, facts),
            "caution": fill(conclusion.caution or "", self.vocabulary, facts),
        }  # fmt: skip
        for key, value in wanted.items():
            if key not in FIRES_KEYS:
                yield f"`{key}` is no part of a conclusion; {did_you_mean(key, FIRES_KEYS)}"
            elif said[key] != value:
                yield f"{key} is {said[key]!r}, not {value!r}"
