"""Loading rule files: several roots, each a folder of families; all faults are reported at once."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from pathlib import Path

import msgspec
from msgspec import Struct

from advisor.documents import Document, read_document
from advisor.errors import DataError, Finding, did_you_mean
from advisor.rules.compile import encodable
from advisor.rules.lint import read_rule
from advisor.rules.model import Rule, RuleSet
from advisor.rules.strata import FactCycleError, layered
from advisor.rules.vocabulary import Vocabulary

__all__ = ["load_rules"]

MAX_RULES = 2_000
RULE_BYTES = 64 * 1024


class _Loaded(Struct):
    rule: Rule
    document: Document
    root: int


def load_rules(
    roots: Sequence[Path],
    vocabulary: Vocabulary,
    *,
    words: Mapping[str, frozenset[str]] | None = None,
) -> RuleSet:
    """Load the rules of ``roots`` in order, files in the order of their ids.

    ``words`` may narrow the words that facts with ``of`` can take: ``{"level": frozenset(...)}``.
    A rule with ``replaces`` drops that rule of an earlier root, or of its own.

    Errors: ``DataError`` with the findings of all files.
    """
    loader = _Loader(vocabulary, words or {})
    for index, root in enumerate(roots):
        loader.root(index, root)
    if loader.findings:
        raise DataError(loader.findings)
    return loader.ruleset()


class _Loader:
    def __init__(self, vocabulary: Vocabulary, words: Mapping[str, frozenset[str]]) -> None:
        self.vocabulary = vocabulary
        self.words = words
        self.findings: list[Finding] = []
        self.loaded: dict[str, _Loaded] = {}
        self.ids: set[str] = set()

    def root(self, index: int, root: Path) -> None:
        if not root.is_dir():
            self._file_fault("rule-root", f"there is no folder `{root}`", root)
            return
        fresh: list[_Loaded] = []
        for path in sorted(root.rglob("*.y*ml"), key=lambda path: path.relative_to(root).as_posix()):
            entry = self._read(index, root, path)
            if entry is not None:
                fresh.append(entry)
        self.ids.update(entry.rule.id for entry in fresh)
        for entry in fresh:
            self._add(entry)
        for entry in fresh:
            self._replace(entry)

    def _file_fault(self, code: str, message: str, path: Path, help: str = "") -> None:
        self.findings.append(
            Finding(code=code, message=message, help=help, file=path.as_posix(), line=1, column=1)
        )

    def _read(self, index: int, root: Path, path: Path) -> _Loaded | None:
        if path.suffix != ".yaml":
            self._file_fault("rule-file-name", "a rule file ends in .yaml", path, "rename it")
            return None
        if path.is_symlink() or not path.resolve().is_relative_to(root.resolve()):
            self._file_fault("rule-file-link", "links are not followed", path, "copy the file here")
            return None
        if len(self.ids) > MAX_RULES:
            self._file_fault("rule-too-many", f"more than {MAX_RULES} rules", path)
            return None
        try:
            document = read_document(path, max_bytes=RULE_BYTES)
        except DataError as error:
            self.findings += error.findings
            return None
        expected = path.relative_to(root).with_suffix("").as_posix()
        rule, findings = read_rule(document, self.vocabulary, self.words, expected)
        self.findings += [finding for finding in findings if finding.severity == "error"]
        if rule is None:
            # Its id still counts, so that one fault does not make rules that replace it faulty too.
            self.ids.add(expected)
            return None
        encodable(rule, self.vocabulary, lambda *said: self._fault(document, said, ("when",)))
        return _Loaded(rule, document, index)

    def _fault(self, document: Document, said: tuple[str, str, str], path: tuple[str | int, ...]) -> None:
        code, message, help = said
        self.findings.append(document.finding(code, message, path, help=help))

    def _add(self, entry: _Loaded) -> None:
        rule = entry.rule
        earlier = self.loaded.get(rule.id)
        if earlier is not None and rule.replaces != rule.id:
            message = f"the id `{rule.id}` is taken by {earlier.document.file}"
            said = ("rule-duplicate", message, f"add `replaces: {rule.id}`, or choose another id")
            self._fault(entry.document, said, ("id",))
            return
        # A rule that replaces its namesake takes its own place in the order.
        self.loaded.pop(rule.id, None)
        self.loaded[rule.id] = entry

    def _replace(self, entry: _Loaded) -> None:
        target = entry.rule.replaces
        if not target or (target == entry.rule.id and entry.root > 0):
            return
        if target not in self.ids or target == entry.rule.id:
            said = ("rule-replaces-unknown", f"no rule `{target}` to replace", did_you_mean(target, self.ids))
            self._fault(entry.document, said, ("replaces",))
            return
        self.loaded.pop(target, None)

    def ruleset(self) -> RuleSet:
        kept = {name: entry for name, entry in self.loaded.items() if entry.rule.status != "retired"}
        rules = {name: entry.rule for name, entry in kept.items()}
        strata = {}
        for scope in ("exchange", "response"):
            try:
                strata[scope] = layered(rule for rule in rules.values() if rule.scope == scope)
            except FactCycleError as cycle:
                message = f"derived facts need each other: {cycle}"
                said = ("rule-cycle", message, "derive one of them from other facts")
                self._fault(kept[cycle.rule.id].document, said, ("when",))
        if self.findings:
            raise DataError(self.findings)
        return RuleSet(rules, self.vocabulary, strata, self._hash(kept))

    def _hash(self, kept: Mapping[str, _Loaded]) -> str:
        said = [self.vocabulary, [entry.document.value for entry in kept.values()]]
        return hashlib.sha256(msgspec.json.encode(said, order="sorted")).hexdigest()
