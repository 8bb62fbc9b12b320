"""Reading one rule file and refusing, with file and line, whatever is wrong in it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from advisor.documents import Document
from advisor.errors import Finding, did_you_mean
from advisor.rules.conditions import ConditionReader
from advisor.rules.model import All, Condition, Not, Number, Read, Rule, Term, reads_in, term_reads
from advisor.rules.vocabulary import OTHER, Fact, Value, Vocabulary

__all__ = ["STATUSES", "read_rule"]

STATUSES = ("draft", "stable", "retired")
RULE_SCOPES = ("exchange", "response")
PREFER = 100
ID = re.compile(r"[a-z][a-z0-9_-]*/[a-z][a-z0-9_-]*\Z")
SLOT = re.compile(r"\{([^{}]*)\}")

_TEXTS = ("id", "title", "scope", "status", "replaces", "why", "because", "limits", "source")
_NEEDED = ("id", "title", "scope", "status", "why", "when", "conclude", "because")
_KEYS = (*_TEXTS, "when", "unless", "conclude")
_CONCLUDE = ("verdict", "tags", "facts", "caution", "prefer")


def read_rule(
    document: Document, vocabulary: Vocabulary, words: Mapping[str, frozenset[str]], expected_id: str
) -> tuple[Rule | None, list[Finding]]:
    """The rule in ``document`` and all findings; no rule when one of them is an error."""
    reader = _RuleReader(document, vocabulary, words, expected_id)
    rule = reader.rule()
    errors = any(finding.severity == "error" for finding in reader.findings)
    return (None if errors else rule), reader.findings


class _RuleReader(ConditionReader):
    """Reads the keys around the conditions."""

    def __init__(
        self,
        document: Document,
        vocabulary: Vocabulary,
        words: Mapping[str, frozenset[str]],
        expected_id: str,
    ) -> None:
        super().__init__(document, vocabulary, "", words)
        self.expected_id = expected_id

    def rule(self) -> Rule | None:
        raw = self.document.value
        if not isinstance(raw, dict):
            self.fault("rule-shape", "the file must hold one rule: `id`, `title`, `when`, ...", ())
            return None
        self._keys(raw)
        self._id(raw)
        self._one_of(raw, "status", STATUSES)
        if not self._one_of(raw, "scope", RULE_SCOPES):
            return None
        self.scope = raw["scope"]
        condition = self._condition(raw)
        conclude = raw.get("conclude")
        if not isinstance(conclude, dict):
            if "conclude" in raw:
                self.fault("rule-shape", "`conclude` must be a block", ("conclude",))
            return None
        return self._build(raw, condition, conclude)

    def _build(self, raw: dict[str, Any], condition: Condition, conclude: dict[str, Any]) -> Rule:
        facts = self._facts(conclude.get("facts"))
        reads = [*reads_in(condition)]
        pairs = any(read.other for read in reads)
        for _, value in facts:
            if isinstance(value, (Read, Number)) or not isinstance(value, (int, float, str, frozenset)):
                reads += term_reads(value)
        self._conclusion(conclude)
        if not pairs and any(read.other for read in reads):
            self._lonely_other(("conclude", "facts"))
        slots = self._slots(raw.get("because"), ("because",), pairs)
        slots += self._slots(conclude.get("caution"), ("conclude", "caution"), pairs)
        text = {key: raw.get(key) if isinstance(raw.get(key), str) else "" for key in _TEXTS}
        tags = conclude.get("tags")
        return Rule(
            **{key: str(value) for key, value in text.items()},
            condition=condition, verdict=conclude.get("verdict"),
            tags=tuple(str(tag) for tag in tags) if isinstance(tags, list) else (),
            facts=facts, caution=conclude.get("caution"), prefer=conclude.get("prefer") or 0,
            slots=tuple(dict.fromkeys(slots)), pairs=pairs,
            reads=frozenset(read.fact for read in reads), file=self.document.file,
        )  # fmt: skip

    def _keys(self, raw: dict[str, Any]) -> None:
        for key, value in raw.items():
            if key not in _KEYS:
                self.fault("rule-key-unknown", f"unknown key `{key}`", (key,), did_you_mean(key, _KEYS))
            elif key in _TEXTS and (not isinstance(value, str) or not value.strip()):
                self.fault("rule-shape", f"`{key}` must be text", (key,))
        for key in _NEEDED:
            if key not in raw:
                self.fault("rule-key-missing", f"`{key}` is missing", (), f"add `{key}: ...`")

    def _id(self, raw: dict[str, Any]) -> None:
        name = raw.get("id")
        if not isinstance(name, str):
            return
        if not ID.match(name):
            self.fault("rule-id", f"`{name}` is not a rule id", ("id",), "write `family/name` in lower case")
        elif name != self.expected_id:
            self.fault(
                "rule-id", f"the id `{name}` differs from the file's place", ("id",),
                f"write `id: {self.expected_id}`, or move the file to {name}.yaml",
            )  # fmt: skip

    def _one_of(self, raw: dict[str, Any], key: str, allowed: tuple[str, ...]) -> bool:
        value = raw.get(key)
        if value in allowed:
            return True
        if isinstance(value, str):
            near = did_you_mean(value, allowed) or f"one of {', '.join(allowed)}"
            self.fault(f"rule-{key}", f"`{key}: {value}` is not known", (key,), near)
        return False

    def _condition(self, raw: dict[str, Any]) -> Condition:
        when = raw.get("when")
        if when == [] or ("when" in raw and when is None):
            self.fault("rule-empty", "`when` is empty: the rule would always hold", ("when",))
            when = []
        items = self.conditions(when, ("when",)) if "when" in raw and when is not None else ()
        unless = self.conditions(raw["unless"], ("unless",)) if "unless" in raw else ()
        return All((*items, *(Not(item) for item in unless)))

    def _conclusion(self, conclude: dict[str, Any]) -> None:
        for key in conclude:
            if key not in _CONCLUDE:
                near = did_you_mean(key, _CONCLUDE)
                self.fault("rule-key-unknown", f"unknown key `{key}`", ("conclude", key), near)
        if not conclude:
            self.fault("rule-empty", "`conclude` is empty", ("conclude",), f"one of {', '.join(_CONCLUDE)}")
        self._verdict(conclude)
        self._tags(conclude)
        prefer = conclude.get("prefer", 0)
        if isinstance(prefer, bool) or not isinstance(prefer, int) or abs(prefer) > PREFER:
            self.fault(
                "rule-prefer-range", f"`prefer: {prefer}` must be a whole number from -{PREFER} to {PREFER}",
                ("conclude", "prefer"),
            )  # fmt: skip

    def _verdict(self, conclude: dict[str, Any]) -> None:
        verdict = conclude.get("verdict")
        if "verdict" in conclude and verdict not in self.vocabulary.verdicts:
            near = did_you_mean(str(verdict), self.vocabulary.verdicts)
            self.fault(
                "rule-verdict-unknown", f"no verdict is called `{verdict}`", ("conclude", "verdict"),
                near or f"one of {', '.join(self.vocabulary.verdicts)}",
            )  # fmt: skip

    def _tags(self, conclude: dict[str, Any]) -> None:
        tags = conclude.get("tags", [])
        slug = re.compile(r"[a-z][a-z0-9_]*\Z")
        good = isinstance(tags, list) and all(isinstance(tag, str) and slug.match(tag) for tag in tags)
        if not good:
            self.fault("rule-shape", "`tags` must be a list of lower-case words", ("conclude", "tags"))

    def _facts(self, raw: Any) -> tuple[tuple[str, Value | Term], ...]:
        path = ("conclude", "facts")
        if raw is None:
            return ()
        if not isinstance(raw, dict):
            self.fault("rule-shape", "`facts` must map facts to values", path)
            return ()
        found: list[tuple[str, Value | Term]] = []
        for name, value in raw.items():
            fact = self._derived(name, (*path, name))
            got = None if fact is None else self._value(fact, value, (*path, name))
            if got is not None:
                found.append((name, got))
        return tuple(found)

    def _derived(self, name: str, path: tuple[str | int, ...]) -> Fact | None:
        known = self.read(name, path)
        if known is None:
            return None
        read, fact = known
        if read.other or not fact.derived or fact.scope != self.scope:
            self.fault(
                "rule-derives", f"a rule cannot conclude `{name}`", path,
                "only facts of this record that the vocabulary marks `derived: true`",
            )  # fmt: skip
            return None
        return fact

    def _value(self, fact: Fact, raw: Any, path: tuple[str | int, ...]) -> Value | Term | None:
        if isinstance(raw, dict):
            term = self.term(raw, path, like=fact)
            if term is not None and fact.type == "integer" and not self._whole(term):
                self.fault("rule-literal-type", f"{fact.shown()} is a whole number; the expression is not", path)
                return None
            return term.value if isinstance(term, Number) else term
        if fact.type == "words":
            return frozenset(raw) if self._word_list(fact, raw, path) else None
        if fact.type == "text":
            self.fault("rule-text-fact", f"`{fact.name}` is text; rules do not derive text", path)
            return None
        return raw if self.literal(fact, raw, path) else None

    def _word_list(self, fact: Fact, raw: Any, path: tuple[str | int, ...]) -> bool:
        if not isinstance(raw, list):
            self.fault("rule-literal-type", f"{fact.shown()} is a list of words", path)
            return False
        good = [self.literal(fact, word, (*path, index)) for index, word in enumerate(raw)]
        return all(good)

    def _whole(self, term: Term) -> bool:
        if isinstance(term, Read):
            return self.vocabulary.facts[term.fact].type == "integer"
        if isinstance(term, Number):
            return isinstance(term.value, int)
        return all(self._whole(part) for part in term.terms)

    def _slots(self, template: Any, path: tuple[str | int, ...], pairs: bool) -> list[str]:
        if template is None:
            return []
        if not isinstance(template, str):
            if path[-1] == "caution":
                self.fault("rule-shape", "`caution` must be text", path)
            return []
        found = SLOT.findall(template)
        rest = SLOT.sub("", template)
        if "{" in rest or "}" in rest:
            self.fault("rule-brace", "a brace without its partner", path, "write slots as `{mine.reach}`")
        for name in found:
            if self.vocabulary.facts.get(name.removeprefix(OTHER)) is None:
                near = self.vocabulary.nearest(name)
                self.fault("rule-slot-unknown", f"slot `{{{name}}}` is no fact", path, near)
            elif self.read(name, path) and name.startswith(OTHER) and not pairs:
                self._lonely_other(path)
        return [name for name in found if name.removeprefix(OTHER) in self.vocabulary.facts]

    def _lonely_other(self, path: tuple[str | int, ...]) -> None:
        self.fault(
            "rule-other", "reads another record, but no condition does", path,
            "add a condition on an `other.` fact, which says which record is meant",
        )  # fmt: skip
