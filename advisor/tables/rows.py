"""What a table file gives: its rows, each with its place, and cells that are more than text."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TypeAlias

from msgspec import Struct

from advisor.errors import DataError, Finding

__all__ = ["MAX_BYTES", "MAX_COLUMNS", "MAX_ROWS", "MAX_TEXT", "Cell", "Odd", "Row", "Rows", "address", "table_error"]

MAX_BYTES = 64 * 1024 * 1024
"""Bytes of a table file."""

MAX_ROWS = 100_000
"""Rows of a table, those above the headings among them."""

MAX_COLUMNS = 256

MAX_TEXT = 32_767
"""Characters of a cell, which is also what a spreadsheet allows."""


class Odd(Struct, frozen=True):
    """A cell that a spreadsheet holds as something else than text or a number, and why it is refused."""

    message: str
    help: str


Cell: TypeAlias = str | Odd


class Row(Struct, frozen=True):
    """One row: ``number`` as a spreadsheet counts it, ``line`` of the file (for CSV; else the same)."""

    number: int
    line: int
    cells: list[Cell]


Rows: TypeAlias = Iterator[Row]


def address(column: int, row: int) -> str:
    """``B12`` for column 1 (counted from 0) of row 12."""
    letters = ""
    at = column + 1
    while at:
        at, rest = divmod(at - 1, 26)
        letters = chr(65 + rest) + letters
    return f"{letters}{row}"


def table_error(code: str, message: str, file: str, *, line: int = 1, path: str = "", help: str = "") -> DataError:
    """The error for a table that cannot be read on."""
    return DataError([Finding(code=code, message=message, help=help, file=file, line=line, column=1, path=path)])
