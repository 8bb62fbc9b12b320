"""The vocabulary: every fact that rules may read, with its type, unit and meaning.

Rules speak only these words; the linter, the compiler to the engine, the plain evaluator and the
sentences all take types and units from here.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from msgspec import Struct

from advisor.documents import Document, read_document
from advisor.errors import DataError, Finding, did_you_mean

__all__ = [
    "FACT_LIMIT",
    "NUMERIC",
    "OTHER",
    "SCOPES",
    "TYPES",
    "WORD",
    "Fact",
    "Value",
    "Vocabulary",
    "load_vocabulary",
]

Value = int | float | bool | str | frozenset[str]

SCOPES = ("situation", "exchange", "response")
TYPES = ("integer", "number", "boolean", "word", "words", "text")
NUMERIC = frozenset({"integer", "number"})
OTHER = "other."
"""Prefix of a fact that is read from another record of the same question."""

FACT_LIMIT = 90_000_000
"""Largest size of a number a rule may meet. Its square stays below 2**53, so whole numbers keep
exact through one product whichever evaluator multiplies them."""

WORD = re.compile(r"[A-Za-z0-9_][A-Za-z0-9_./+:-]{0,199}\Z")
"""What a word value looks like: an ASCII id, no spaces, at most 200 characters."""

_FACT_NAME = re.compile(r"[a-z][a-z0-9_]*(?:\.[a-z][a-z0-9_]*)+\Z")
_FACT_KEYS = {
    "scope": str, "type": str, "unit": str, "signed": bool, "meaning": str,
    "values": list, "of": str, "derived": bool,
}  # fmt: skip


class Fact(Struct, frozen=True, kw_only=True):
    """One word of the vocabulary.

    ``of`` names the list of the pack that a word must come from (``level``, ``tag``);
    ``derived`` marks a fact that rules conclude.
    """

    name: str
    scope: str
    type: str
    unit: str = ""
    signed: bool = False
    meaning: str = ""
    values: tuple[str, ...] = ()
    of: str = ""
    derived: bool = False

    def shown(self) -> str:
        """The name with its unit: ``mine.first_active (frames)``."""
        return f"`{self.name}` ({self.unit or self.type})"


class Vocabulary(Struct, frozen=True):
    """``verdicts`` in order, best first, each with its meaning; ``facts`` by name."""

    verdicts: Mapping[str, str]
    facts: Mapping[str, Fact]

    def nearest(self, name: str) -> str:
        """``did you mean `x` (unit)?`` for the known fact nearest to ``name``, or nothing."""
        prefix = OTHER if name.startswith(OTHER) else ""
        hint = did_you_mean(name.removeprefix(prefix), self.facts)
        if not hint:
            return ""
        found = self.facts[hint.split("`")[1]]
        return f"did you mean `{prefix}{found.name}` ({found.unit or found.type})?"


def load_vocabulary(path: Path) -> Vocabulary:
    """Read ``vocabulary.yaml``.

    Errors: ``DataError`` with every finding of the file.
    """
    document = read_document(path)
    reader = _Reader(document)
    vocabulary = reader.read()
    if reader.findings:
        raise DataError(reader.findings)
    return vocabulary


class _Reader:
    def __init__(self, document: Document) -> None:
        self.document = document
        self.findings: list[Finding] = []

    def fault(self, code: str, message: str, path: tuple[str | int, ...], help: str = "") -> None:
        self.findings.append(self.document.finding(code, message, path, help=help))

    def read(self) -> Vocabulary:
        top = self.document.value
        if not isinstance(top, dict):
            self.fault("vocabulary-shape", "the file must hold `verdicts` and `facts`", ())
            return Vocabulary({}, {})
        for key in top:
            if key not in ("verdicts", "facts"):
                help = did_you_mean(key, ("verdicts", "facts"))
                self.fault("vocabulary-key-unknown", f"unknown key `{key}`", (key,), help)
        return Vocabulary(self._verdicts(top.get("verdicts")), self._facts(top.get("facts")))

    def _verdicts(self, raw: Any) -> dict[str, str]:
        if not isinstance(raw, dict) or not raw:
            self.fault("vocabulary-shape", "`verdicts` must map each verdict to its meaning", ("verdicts",))
            return {}
        for name, meaning in raw.items():
            if not isinstance(meaning, str) or not WORD.match(name):
                self.fault("vocabulary-shape", f"verdict `{name}` needs a meaning in text", ("verdicts", name))
        return {name: str(meaning) for name, meaning in raw.items()}

    def _facts(self, raw: Any) -> dict[str, Fact]:
        if not isinstance(raw, dict) or not raw:
            self.fault("vocabulary-shape", "`facts` must map each fact to its description", ("facts",))
            return {}
        found = {name: self._fact(name, entry) for name, entry in raw.items()}
        return {name: fact for name, fact in found.items() if fact is not None}

    def _fact(self, name: str, raw: Any) -> Fact | None:
        at = ("facts", name)
        if not _FACT_NAME.match(name) or name.startswith(OTHER):
            self.fault(
                "vocabulary-fact-name", f"`{name}` is not a fact name", at,
                "write lower-case words joined by dots, such as `mine.reach`; `other.` is reserved",
            )  # fmt: skip
            return None
        if not isinstance(raw, dict):
            self.fault("vocabulary-shape", f"fact `{name}` needs `scope`, `type` and `meaning`", at)
            return None
        before = len(self.findings)
        self._keys(raw, at)
        self._choice(raw, "scope", SCOPES, at)
        self._choice(raw, "type", TYPES, at)
        if not isinstance(raw.get("meaning"), str) or not raw["meaning"].strip():
            self.fault("vocabulary-shape", f"fact `{name}` has no meaning", at, "add `meaning: ...`")
        values = self._values(raw, at)
        if len(self.findings) > before:
            return None
        return Fact(
            name=name, scope=raw["scope"], type=raw["type"], unit=raw.get("unit", ""),
            signed=raw.get("signed", False), meaning=raw["meaning"], values=values,
            of=raw.get("of", ""), derived=raw.get("derived", False),
        )  # fmt: skip

    def _keys(self, raw: dict[str, Any], at: tuple[str, ...]) -> None:
        for key, value in raw.items():
            kind = _FACT_KEYS.get(key)
            if kind is None:
                help = did_you_mean(key, _FACT_KEYS)
                self.fault("vocabulary-key-unknown", f"unknown key `{key}`", (*at, key), help)
            elif not isinstance(value, kind):
                wanted = {str: "text", bool: "true or false", list: "a list"}[kind]
                self.fault("vocabulary-shape", f"`{key}` must be {wanted}", (*at, key))
        if raw.get("derived") is True and raw.get("scope") == "situation":
            self.fault(
                "vocabulary-derived", "a situation fact cannot be derived by rules", (*at, "derived"),
                "rules conclude facts of an exchange or a response",
            )  # fmt: skip

    def _choice(self, raw: dict[str, Any], key: str, allowed: tuple[str, ...], at: tuple[str, ...]) -> None:
        value = raw.get(key)
        if value not in allowed:
            shown = f"`{key}: {value}` is not known" if key in raw else f"`{key}` is missing"
            near = did_you_mean(value, allowed) if isinstance(value, str) else ""
            self.fault(f"vocabulary-{key}", shown, (*at, key), near or f"one of {', '.join(allowed)}")

    def _values(self, raw: dict[str, Any], at: tuple[str, ...]) -> tuple[str, ...]:
        values = raw.get("values")
        if not isinstance(values, list):
            return ()
        if raw.get("type") not in ("word", "words"):
            self.fault("vocabulary-shape", "only words have `values`", (*at, "values"))
        for index, value in enumerate(values):
            if not isinstance(value, str) or not WORD.match(value):
                self.fault(
                    "vocabulary-word", f"`{value}` is not a word", (*at, "values", index),
                    "use letters, digits and underscores",
                )  # fmt: skip
        return tuple(str(value) for value in values)
