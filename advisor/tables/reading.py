"""All rows of a table into moves, and a reason with the address of the cell for all that is refused."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from msgspec import UNSET, Struct, field

from advisor.documents import Document
from advisor.errors import DataError, Finding, did_you_mean
from advisor.pack.check import quoted
from advisor.pack.words import Words, slug_of
from advisor.tables.cells import KEEP, CellReader, Refused
from advisor.tables.csv_rows import csv_rows
from advisor.tables.mapping import Column, Mapping
from advisor.tables.properties import PROPERTIES
from advisor.tables.rows import Cell, Odd, Row, Rows, address, table_error
from advisor.tables.xlsx_rows import Workbook

__all__ = ["MAX_REFUSED", "Reading", "TableMove", "open_rows", "read_table"]

MAX_REFUSED = 1000
"""Refused cells and rows that are kept with their reason; the rest is counted."""

EVERY = 500


class TableMove(Struct):
    """One row that was taken: its move id and the values of its cells by property.

    A value is plain data, ``UNSET`` (the key is left out) or ``KEEP`` (what the file has stays).
    ``notes`` and ``tags`` came from behind numbers; ``dropped`` is what was let go, as declared.
    """

    row: int
    line: int
    id: str
    values: dict[str, Any]
    notes: list[str]
    tags: list[str]
    dropped: list[str]


class Reading(Struct):
    """What a table gave. ``columns`` is the place (from 0) of each property; ``refused_in_all`` counts."""

    file: str
    columns: dict[str, int] = field(default_factory=dict)
    moves: list[TableMove] = field(default_factory=list)
    rows: int = 0
    blank_rows: int = 0
    other_rows: int = 0
    others: set[str] = field(default_factory=set)
    refused: list[Finding] = field(default_factory=list)
    refused_in_all: int = 0

    def refuse(
        self, row: int, line: int, column: int, message: str, help: str = "", code: str = "cell-refused"
    ) -> None:
        """Note a refused cell, or with ``column`` -1 a refused row."""
        self.refused_in_all += 1
        if len(self.refused) < MAX_REFUSED:
            path = address(column, row) if column >= 0 else f"row {row}"
            self.refused.append(
                Finding(
                    code=code, message=message, help=help, file=self.file, line=line, column=column + 1, path=path
                )
            )


def open_rows(path: Path, mapping: Mapping) -> Rows:
    """The rows of the table file as its mapping says. Errors: ``DataError``, also while they are read."""
    file = mapping.file
    if file.form == "csv":
        yield from csv_rows(path, delimiter=file.delimiter or ",", encoding=file.encoding or "utf-8")
        return
    sheet = Workbook(path).sheet(file.sheet, formulas=file.formulas, decimal=mapping.decimal)
    yield from sheet
    findings = [
        Finding(
            code="cells-merged",
            message=f"cells `{ref}` are merged, so only the first of them holds anything",
            help="take the merge apart and fill each cell",
            file=str(path),
            line=_last_row(ref),
            path=ref,
        )
        for ref in sheet.merged
        if _last_row(ref) >= file.header_row
    ]
    if findings:
        raise DataError(findings)


def _last_row(ref: str) -> int:
    digits = "".join(c for c in ref.rpartition(":")[2] if c.isdigit())
    return int(digits or 0)


def read_table(
    path: Path,
    mapping: Mapping,
    mapped: Document,
    words: Words,
    *,
    character: str = "",
    shift: int = 0,
    progress: Callable[[int], None] | None = None,
) -> Reading:
    """Read the rows of ``character`` (all rows when the mapping names no column for it).

    ``mapped`` is the mapping's document, for the places of its faults; ``words`` are those of the pack;
    ``shift`` frames are added to each startup; ``progress`` is told the count of rows now and then.
    Errors: ``DataError`` for a file or headings that cannot be used; cells are refused in the result.
    """
    reading = Reading(str(path))
    rows = _Rows(reading, mapping, mapped, words, character, shift)
    for row in open_rows(path, mapping):
        if row.number < mapping.file.header_row:
            continue
        if rows.headings is None:
            rows.head(row)
            continue
        rows.take(row)
        if progress is not None and reading.rows % EVERY == 0:
            progress(reading.rows)
    if rows.headings is None:
        raise table_error(
            "table-empty",
            f"there is no row {mapping.file.header_row} with headings",
            str(path),
            help="see `file.header_row`",
        )
    return reading


class _Rows:
    """Takes the rows of one table, one after the other."""

    def __init__(
        self, reading: Reading, mapping: Mapping, mapped: Document, words: Words, character: str, shift: int
    ) -> None:
        self.reading = reading
        self.mapping = mapping
        self.mapped = mapped
        self.words = words
        self.character = character
        self.shift = shift
        self.headings: list[str] | None = None
        self.readers: list[tuple[int, str, CellReader]] = []
        self.who = -1
        self.seen: dict[str, int] = {}
        self.trim = mapping.file.spaces == "trimmed"
        self.bare = mapping.file.leading_apostrophe == "removed"

    def head(self, row: Row) -> None:
        """Match the headings. Errors: ``DataError`` for missing, doubled or undeclared columns."""
        if row.number != self.mapping.file.header_row:
            raise table_error(
                "table-empty",
                f"row {self.mapping.file.header_row}, which should have the headings, is blank",
                self.reading.file,
                help="see `file.header_row`",
            )
        headings = [cell.strip() if isinstance(cell, str) else "" for cell in row.cells]
        while headings and not headings[-1]:
            headings.pop()
        findings = self._doubled(headings, row)
        places = {heading: at for at, heading in enumerate(headings)}
        for number, column in enumerate(self.mapping.columns):
            if column.column.strip() not in places:
                findings.append(self._missing(column.column, ("columns", number, "column"), headings))
            else:
                place = places[column.column.strip()]
                self.reading.columns[column.property] = place
                self.readers.append((place, column.property, self._reader(column)))
        who = self.mapping.character
        if who is not None:
            self.who = places.get(who.column.strip(), -1)
            if self.who < 0:
                findings.append(self._missing(who.column, ("character", "column"), headings))
        findings += self._undeclared(headings, row)
        if findings:
            raise DataError(findings)
        self.headings = headings

    def _reader(self, column: Column) -> CellReader:
        return CellReader(column, self.words, decimal=self.mapping.decimal, factor=self.mapping.distance_factor)

    def _missing(self, heading: str, path: tuple[str | int, ...], headings: list[str]) -> Finding:
        help = did_you_mean(heading, [h for h in headings if h]) or "the table has " + ", ".join(
            f"`{h}`" for h in headings[:12]
        )
        return self.mapped.finding("column-missing", f"the table has no column `{heading}`", path, help=help)

    def _doubled(self, headings: list[str], row: Row) -> list[Finding]:
        """Headings that stand twice, and headings that are blank."""
        out = []
        for at, heading in enumerate(headings):
            first = headings.index(heading)
            if first != at and heading:
                out.append(
                    self._heading(
                        "column-twice",
                        f"the heading `{heading}` stands in {address(first, row.number)} already",
                        at,
                        row,
                        "give each column its own heading",
                    )
                )
            elif not heading and self.mapping.ignore != "others":
                out.append(
                    self._heading(
                        "column-undeclared",
                        "a column has no heading",
                        at,
                        row,
                        "give it one, or declare `ignore: others`",
                    )
                )
        return out

    def _undeclared(self, headings: list[str], row: Row) -> list[Finding]:
        if not isinstance(self.mapping.ignore, list):
            return []
        declared = {one.column.strip() for one in self.mapping.columns} | {one.strip() for one in self.mapping.ignore}
        if self.mapping.character is not None:
            declared.add(self.mapping.character.column.strip())
        return [
            self._heading(
                "column-undeclared",
                f"column `{heading}` is neither read nor ignored",
                at,
                row,
                "add it to the mapping's `columns` or `ignore`",
            )
            for at, heading in enumerate(headings)
            if heading and heading not in declared
        ]

    def _heading(self, code: str, message: str, at: int, row: Row, help: str) -> Finding:
        return Finding(
            code=code,
            message=message,
            help=help,
            file=self.reading.file,
            line=row.line,
            column=at + 1,
            path=address(at, row.number),
        )

    def take(self, row: Row) -> None:
        """Read one row below the headings."""
        assert self.headings is not None
        cells = row.cells
        if self.trim:
            cells = [cell.strip() if isinstance(cell, str) else cell for cell in cells]
        reading = self.reading
        reading.rows += 1
        if not any(cells):
            reading.blank_rows += 1
            return
        width = len(self.headings)
        if self.mapping.file.form == "csv" and len(cells) < width:
            reading.refuse(
                row.number,
                row.line,
                -1,
                f"the row has {len(cells)} cells; the headings are {width}",
                "every row has as many cells as the headings (RFC 4180, 2.4)",
                "row-ragged",
            )
            return
        if any(cells[width:]):
            at = next(at for at in range(width, len(cells)) if cells[at])
            reading.refuse(
                row.number, row.line, at, "the cell stands to the right of all headings", code="row-ragged"
            )
            return
        if self._is_other(row, cells):
            return
        self._move(row, cells)

    def _is_other(self, row: Row, cells: list[Cell]) -> bool:
        """Whether the row is of another character, or does not say of whom; counts it."""
        who = self.mapping.character
        if who is None:
            return False
        cell = cells[self.who] if self.who < len(cells) else ""
        if not isinstance(cell, str) or not cell:
            self.reading.refuse(row.number, row.line, self.who, "the row does not say whose move it is")
            return True
        name = who.words.get(cell, cell)
        if name == self.character:
            return False
        self.reading.other_rows += 1
        if len(self.reading.others) < MAX_REFUSED:
            self.reading.others.add(name)
        return True

    def _move(self, row: Row, cells: list[Cell]) -> None:
        move = TableMove(row.number, row.line, "", {}, [], [], [])
        before = self.reading.refused_in_all
        count = len(cells)
        for place, name, reader in self.readers:
            cell = cells[place] if place < count else ""
            if isinstance(cell, Odd):
                self.reading.refuse(row.number, row.line, place, cell.message, cell.help)
                continue
            if self.bare and cell.startswith("'"):
                cell = cell[1:]
            taken = reader.read(cell)
            if isinstance(taken, Refused):
                self.reading.refuse(row.number, row.line, place, taken.message, taken.help)
                continue
            move.values[name] = taken.value
            if taken.note:
                move.notes.append(taken.note)
            if taken.tag and taken.tag not in move.tags:
                move.tags.append(taken.tag)
            if taken.dropped:
                move.dropped.append(f"{name}: {taken.dropped}")
        self._settle(move)
        if self.reading.refused_in_all == before:
            self.reading.moves.append(move)

    def _settle(self, move: TableMove) -> None:
        """The id, the startup in the pack's count, and what two cells say of one thing."""
        reading, values = self.reading, move.values
        startup = values.get("startup")
        if isinstance(startup, int) and self.shift:
            values["startup"] = startup + self.shift
            if not 0 <= values["startup"] <= PROPERTIES["startup"].high:
                reading.refuse(
                    move.row,
                    move.line,
                    reading.columns["startup"],
                    f"startup {startup} would be {startup + self.shift} in the pack's count",
                    "see `startup_counts`",
                )
        whole = values.get("pushback", UNSET)
        parts = [values.get(key, UNSET) for key in ("pushback_block", "pushback_hit")]
        if whole not in (UNSET, KEEP) and any(part not in (UNSET, KEEP) for part in parts):
            reading.refuse(
                move.row,
                move.line,
                reading.columns["pushback"],
                "the row states `pushback` and a part of it too",
                "leave one of them blank",
            )
        self._name(move)

    def _name(self, move: TableMove) -> None:
        reading, values = self.reading, move.values
        stated, name = values.get("id", UNSET), values.get("name", UNSET)
        place = reading.columns.get("id", reading.columns.get("name", -1))
        if isinstance(stated, str):
            move.id = stated
        elif isinstance(name, str):
            move.id = slug_of(name)
            place = reading.columns["name"]
        if not move.id:
            if not any(f.line == move.line and f.column == place + 1 for f in reading.refused[-len(values) - 3 :]):
                shown = quoted(name) if isinstance(name, str) else "a blank cell"
                reading.refuse(move.row, move.line, place, f"no id can be made from {shown}", "add an `id` column")
        elif move.id in self.seen:
            reading.refuse(
                move.row,
                move.line,
                place,
                f"`{move.id}` is the id of row {self.seen[move.id]} already",
                "each move stands in one row; give one of them another id",
            )
        else:
            self.seen[move.id] = move.row
