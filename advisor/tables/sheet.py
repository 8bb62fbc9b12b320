"""One sheet of an XLSX file, row by row: what each cell holds, and what it only seems to hold."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from decimal import Decimal, InvalidOperation
from typing import Any

from advisor.errors import DataError
from advisor.tables.rows import MAX_COLUMNS, MAX_ROWS, MAX_TEXT, Cell, Odd, Row, Rows, address, table_error

__all__ = ["Sheet"]

_DATE = "format the column as text and type the value again"


class Sheet:
    """The rows of a sheet, once; ``merged`` has the merged ranges (``A1:B2``) when they are all read.

    Cells that hold a formula, a date, a truth value or an error come as ``Odd``.
    """

    def __init__(
        self,
        file: str,
        parse: Callable[[str, Any], Iterator[None]],
        part: str,
        *,
        strings: list[str],
        dates: frozenset[str],
        formulas: str,
        mark: str,
    ) -> None:
        self.file = file
        self.parse = parse
        self.part = part
        self.strings = strings
        self.dates = dates
        self.formulas = formulas
        self.mark = mark
        self.merged: list[str] = []
        self.ready: list[Row] = []
        self.numbers: dict[str, str] = {}
        self.row = 0
        self.cells: list[Cell] = []
        self.column = 0
        self.kind = ""
        self.style = ""
        self.inside = False
        self.places: dict[str, int] = {}
        self.value = ""
        self.formula = False
        self.aside = False

    def __iter__(self) -> Rows:
        for _ in self.parse(self.part, self):
            yield from self.ready
            self.ready.clear()

    def start(self, name: str, attributes: dict[str, str]) -> None:
        """An element begins."""
        if ":" in name:
            name = name.rpartition(":")[2]
        if name == "c":
            where = attributes.get("r")
            if where:
                letters = where.rstrip("0123456789")
                self.column = self.places[letters] if letters in self.places else self._column(letters)
            else:
                self.column = len(self.cells)
            self.kind = attributes.get("t", "n")
            self.style = attributes.get("s", "")
            self.value = ""
            self.formula = False
        elif name == "v" or name == "t":
            self.inside = not self.aside
        elif name == "f":
            self.formula = True
        elif name == "row":
            self._open_row(attributes.get("r"))
        elif name == "rPh":
            self.aside = True
        elif name == "mergeCell":
            self.merged.append(attributes.get("ref", ""))

    def text(self, data: str) -> None:
        """Text of the element that is open."""
        if self.inside:
            self.value += data
            if len(self.value) > MAX_TEXT:
                where = address(self.column, self.row)
                raise table_error(
                    "cell-too-long", f"cell `{where}` has more than {MAX_TEXT} characters", self.file, line=self.row
                )

    def end(self, name: str) -> None:
        """An element ends."""
        if ":" in name:
            name = name.rpartition(":")[2]
        if name == "v" or name == "t":
            self.inside = False
        elif name == "c":
            self._place()
        elif name == "row":
            self.ready.append(Row(self.row, self.row, self.cells))
        elif name == "rPh":
            self.aside = False

    def _broken(self, message: str) -> DataError:
        return table_error("not-xlsx", message, self.file, line=self.row, help="open and save it in a spreadsheet")

    def _open_row(self, number: str | None) -> None:
        if number is None:
            number = str(self.row + 1)
        if not number.isdecimal() or len(number) > 9 or int(number) <= self.row:
            raise self._broken(f"row number `{number[:20]}` does not follow {self.row}")
        self.row = int(number)
        self.cells = []
        if self.row > MAX_ROWS:
            raise table_error(
                "table-too-long", f"the table has more than {MAX_ROWS} rows", self.file, help="split it"
            )

    def _column(self, letters: str) -> int:
        if not (letters.isascii() and letters.isalpha() and letters.isupper()):
            raise self._broken(f"`{letters[:20]}` is no column of a cell")
        at = 0
        for letter in letters[:6]:
            at = at * 26 + ord(letter) - 64
        if len(self.places) < MAX_COLUMNS:
            self.places[letters] = at - 1
        return at - 1

    def _place(self) -> None:
        cell = self._cell()
        if cell == "":
            # Spreadsheets keep formatted blank cells far to the right; only what holds something counts.
            return
        if self.column >= MAX_COLUMNS:
            raise table_error(
                "table-too-wide",
                f"cell `{address(self.column, self.row)}` is past the limit of {MAX_COLUMNS} columns",
                self.file,
                line=self.row,
            )
        while len(self.cells) < self.column:
            self.cells.append("")
        if len(self.cells) > self.column:
            raise self._broken(f"cell `{address(self.column, self.row)}` stands behind cells to its right")
        self.cells.append(cell)

    def _cell(self) -> Cell:
        if self.formula:
            if self.formulas == "refuse":
                return Odd("the cell holds a formula", "put its value there, or declare `formulas: values`")
            if self.value == "" and self.kind != "str":
                return Odd(
                    "the formula has no stored value", "open and save the file in a spreadsheet, or put the value"
                )
        match self.kind:
            case "s":
                return self._shared()
            case "n":
                return self._number()
            case "str" | "inlineStr":
                return self.value
            case "b":
                return Odd("the cell holds a truth value", "write a word or a number as text")
            case "d":
                return Odd(f"the spreadsheet made a date of this cell (stored as {self.value[:30]})", _DATE)
            case "e":
                return Odd(f"the cell holds the error {self.value[:30]}", "put its value there")
        return Odd(f"the cell is of a kind `{self.kind[:20]}` that is not read", "write it as text")

    def _shared(self) -> Cell:
        try:
            return self.strings[int(self.value)]
        except (ValueError, IndexError):
            return Odd("the cell names a shared string that is not there", "save the file again")

    def _number(self) -> Cell:
        if not self.value:
            return ""
        if self.style in self.dates:
            return Odd(f"the spreadsheet made a date of this cell (stored as {self.value[:30]})", _DATE)
        spelled = self.numbers.get(self.value)
        if spelled is None:
            try:
                # Stored with 17 digits; 12 are what a person typed.
                exact = Decimal(f"{float(self.value):.12g}")
                spelled = f"{exact:f}"
            except (ValueError, OverflowError, InvalidOperation):
                return Odd(f"`{self.value[:30]}` is not a number", "write the number again")
            if "." in spelled:
                spelled = spelled.rstrip("0").rstrip(".").replace(".", self.mark)
            if len(self.numbers) < MAX_ROWS:
                self.numbers[self.value] = spelled
        return spelled
