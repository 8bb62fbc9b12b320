"""A character's file as a CSV table, with the mapping that reads it back.

One row a move, all properties that one cell can carry. Text that a spreadsheet would take for a formula
(it begins with ``=``, ``+``, ``-``, ``@``, a tab or a line break), and text that begins with ``'``, gets a
``'`` in front, and the mapping says so; numbers are written bare. (Common practice, no published source.)
"""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import Any

from msgspec import Struct

from advisor.documents import read_document
from advisor.errors import QuestionError, did_you_mean
from advisor.pack.conventions import startup_shift
from advisor.pack.load import load_pack
from advisor.tables.flow import flow
from advisor.tables.mapping import forms_of
from advisor.tables.properties import NUMERIC, PROPERTIES, PUSHBACK_PARTS

__all__ = ["Export", "export_character", "mapping_text", "table_text"]

_RISKY = tuple("=+-@'\t\r\n")


class Export(Struct, frozen=True):
    """A table, its mapping, and what the table cannot carry: move id and key of each."""

    table: str
    mapping: str
    moves: int
    left_out: tuple[tuple[str, str], ...]


def export_character(folder: Path, character: str) -> Export:
    """The table of ``character`` of the pack in ``folder``.

    Errors: ``QuestionError`` when the pack has no such character, ``DataError`` when it does not load.
    """
    pack = load_pack(folder).pack
    if character not in pack.characters:
        raise QuestionError(
            "character-unknown",
            f"pack `{pack.id}` has no character `{character}`",
            help=did_you_mean(character, pack.characters),
            pointer="/character",
        )
    moves: list[dict[str, Any]] = read_document(folder / "characters" / f"{character}.yaml").value["moves"]
    before = startup_shift(read_document(folder / "pack.yaml").value)
    table, left_out = table_text(moves)
    return Export(table, mapping_text("before_active" if before else "first_active"), len(moves), tuple(left_out))


def table_text(moves: list[dict[str, Any]]) -> tuple[str, list[tuple[str, str]]]:
    """The CSV text of written moves, and (move id, key) of what it leaves out.

    Lines end with CR LF and cells are quoted where RFC 4180 asks for it.
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(PROPERTIES)
    left_out: list[tuple[str, str]] = []
    for move in moves:
        cells, lost = _row(move)
        writer.writerow([cells.get(key, "") for key in PROPERTIES])
        name = str(move.get("id") or move.get("name"))
        left_out += [(name, key) for key in lost]
    return out.getvalue(), left_out


def _row(move: dict[str, Any]) -> tuple[dict[str, str], list[str]]:
    cells: dict[str, str] = {}
    lost: list[str] = []
    for key, value in move.items():
        if key == "pushback" and isinstance(value, dict):
            for name, part in PUSHBACK_PARTS.items():
                if part in value:
                    cells[name] = _cell(name, value[part])
        elif key not in PROPERTIES or value == "":
            lost.append(key)
        else:
            cells[key] = _cell(key, value)
    return cells, lost


def _cell(key: str, value: Any) -> str:
    about = PROPERTIES[key]
    if value is None or (value == "unknown" and about.sort != "text"):
        return "unknown" if about.may_be_none else ""
    if isinstance(value, list):
        return " ".join(value) if value else "none"
    if isinstance(value, int | float):
        return flow(value, key)
    text = str(value)
    return f"'{text}" if text.startswith(_RISKY) else text


def mapping_text(startup_counts: str) -> str:
    """The mapping that reads such a table back."""
    lines = [
        "# Reads back the table that was written with it. Blank: the key is left out of the move.",
        "format: 1",
        'file: {form: csv, delimiter: ",", encoding: utf-8, spaces: kept, leading_apostrophe: removed}',
        f"startup_counts: {startup_counts}",
        "columns:",
    ]
    for key, about in PROPERTIES.items():
        column: dict[str, Any] = {"column": key, "property": key}
        if about.sort in NUMERIC:
            plain = ("number", "signed") if about.low < 0 else ("number",)
            column["forms"] = [*plain, *(("word",) if "word" in forms_of(key, about) else ())]
        column["blank"] = "absent"
        if about.may_be_none:
            column |= {"not_available": ["unknown"], "not_available_means": "unknown"}
        lines.append(f"  - {flow(column)}")
    return "\n".join(lines) + "\n"
