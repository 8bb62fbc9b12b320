"""Turning facts into the engine's rows: one written-out function for each sheet of columns."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from advisor.rules.compile import Column, Sheet, number
from advisor.rules.values import GUARD_NAMES, guard_source
from advisor.rules.vocabulary import Value, Vocabulary

__all__ = ["RowWriter", "WordCode", "row_writer", "word_coder"]

WordCode = Callable[[str], int]
RowWriter = Callable[[Callable[[str], Value | None], dict[str, Any], WordCode], None]
"""Adds the columns of one fact source (its ``get``) to a row."""

_FRESH = 1_000_000

_ENCODED = {
    "integer": "{v}",
    "number": "{v} if type({v}) is int else number({v})",
    "boolean": "1 if {v} else 0",
    "word": "code({v})",
}


def word_coder(codes: Mapping[str, int]) -> WordCode:
    """Codes for the words of one session: those in rules as given, others as they come."""
    fresh: dict[str, int] = {}

    def code(word: str) -> int:
        return codes.get(word) or fresh.setdefault(word, _FRESH + len(fresh))

    return code


def row_writer(sheet: Sheet, vocabulary: Vocabulary) -> RowWriter:
    """The function that checks the facts of ``sheet`` and writes their columns."""
    lines = ["def write(get, row, code):"]
    constants: dict[str, object] = {}
    for fact in sheet.facts:
        columns = [(c, name) for c, name in sheet.columns.items() if c.fact == fact]
        lines.append(f"    v = get({fact!r})")
        lines.append("    if v is None:")
        absent = [f"        row[{name!r}] = 0" for c, name in columns if c.kind in ("join", "known")]
        lines += absent or ["        pass"]
        lines.append("    else:")
        lines.append(guard_source(vocabulary.facts[fact], "v", "        "))
        encoded = _ENCODED.get(vocabulary.facts[fact].type, "").format(v="v")
        lines += [f"        row[{name!r}] = {_present(c, encoded, constants)}" for c, name in columns]
    lines += ["    return", ""]
    namespace: dict[str, object] = {**GUARD_NAMES, **constants, "number": number}
    exec(compile("\n".join(lines), "<rows>", "exec"), namespace)  # noqa: S102 - text made of checked names only
    write: RowWriter = namespace["write"]  # type: ignore[assignment]
    return write


def _present(column: Column, encoded: str, constants: dict[str, object]) -> str:
    if column.kind == "known":
        return "1"
    if column.kind in ("value", "join"):
        return encoded
    name = f"C{len(constants)}"
    if column.kind == "has":
        constants[name] = column.argument
        return f"1 if {name} in v else 0"
    constants[name] = frozenset(column.argument)
    return f"1 if v in {name} else 0"
