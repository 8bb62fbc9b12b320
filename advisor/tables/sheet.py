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
        self.places: dict[str, int] = {}
        self.start, self.end, self.text = self._handlers()

    def __iter__(self) -> Rows:
        for _ in self.parse(self.part, self):
            yield from self.ready
            self.ready.clear()

    def _handlers(self) -> tuple[Callable[[str, dict[str, str]], None], Callable[[str], None], Callable[[str], None]]:
        """What the parser calls where an element begins and ends, and for text.

        They run a few million times for a long table; the state of the open cell is in their own variables,
        which take half the time that attributes take.
        """
        column = 0
        kind = style = value = ""
        inside = formula = aside = False
        places, numbers, plain = self.places, self.numbers, frozenset({"str", "inlineStr"})

        def start(name: str, attributes: dict[str, str]) -> None:
            nonlocal column, kind, style, value, inside, formula, aside
            if ":" in name:
                name = name.rpartition(":")[2]
            if name == "c":
                where = attributes.get("r")
                if where:
                    letters = where.rstrip("0123456789")
                    column = places[letters] if letters in places else self._column(letters)
                else:
                    column = len(self.cells)
                kind = attributes.get("t", "n")
                style = attributes.get("s", "")
                value = ""
                formula = False
            elif name == "t" or name == "v":
                inside = not aside
            elif name == "is":
                return
            elif name == "f":
                formula = True
            elif name == "row":
                self._open_row(attributes.get("r"))
            elif name == "rPh":
                aside = True
            elif name == "mergeCell":
                self.merged.append(attributes.get("ref", ""))

        def text(data: str) -> None:
            nonlocal value
            if inside:
                value += data
                if len(value) > MAX_TEXT:
                    where = address(column, self.row)
                    raise table_error(
                        "cell-too-long", f"cell `{where}` has more than {MAX_TEXT} characters", self.file, line=self.row
                    )

        def end(name: str) -> None:
            nonlocal inside, aside
            if ":" in name:
                name = name.rpartition(":")[2]
            if name == "t" or name == "v":
                inside = False
            elif name == "c":
                if kind in plain and not formula:
                    cell: Cell = value
                elif kind == "n" and value in numbers and not formula and style not in self.dates:
                    cell = numbers[value]
                else:
                    cell = self._cell(kind, style, value, formula)
                if cell != "":
                    self._place(column, cell)
            elif name == "row":
                self.ready.append(Row(self.row, self.row, self.cells))
            elif name == "rPh":
                aside = False

        return start, end, text

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

    def _place(self, column: int, cell: Cell) -> None:
        """Put a cell that holds something in its column.

        Spreadsheets keep formatted blank cells far to the right; those never come here.
        """
        cells = self.cells
        if column >= MAX_COLUMNS:
            raise table_error(
                "table-too-wide",
                f"cell `{address(column, self.row)}` is past the limit of {MAX_COLUMNS} columns",
                self.file,
                line=self.row,
            )
        while len(cells) < column:
            cells.append("")
        if len(cells) > column:
            raise self._broken(f"cell `{address(column, self.row)}` stands behind cells to its right")
        cells.append(cell)

    def _cell(self, kind: str, style: str, value: str, formula: bool) -> Cell:
        if formula:
            if self.formulas == "refuse":
                return Odd("the cell holds a formula", "put its value there, or declare `formulas: values`")
            if value == "" and kind != "str":
                return Odd(
                    "the formula has no stored value", "open and save the file in a spreadsheet, or put the value"
                )
        match kind:
            case "s":
                return self._shared(value)
            case "n":
                return self._number(style, value)
            case "str" | "inlineStr":
                return value
            case "b":
                return Odd("the cell holds a truth value", "write a word or a number as text")
            case "d":
                return Odd(f"the spreadsheet made a date of this cell (stored as {value[:30]})", _DATE)
            case "e":
                return Odd(f"the cell holds the error {value[:30]}", "put its value there")
        return Odd(f"the cell is of a kind `{kind[:20]}` that is not read", "write it as text")

    def _shared(self, value: str) -> Cell:
        try:
            return self.strings[int(value)]
        except (ValueError, IndexError):
            return Odd("the cell names a shared string that is not there", "save the file again")

    def _number(self, style: str, value: str) -> Cell:
        if not value:
            return ""
        if style in self.dates:
            return Odd(f"the spreadsheet made a date of this cell (stored as {value[:30]})", _DATE)
        spelled = self.numbers.get(value)
        if spelled is None:
            try:
                # Stored with 17 digits; 12 are what a person typed.
                exact = Decimal(f"{float(value):.12g}")
                spelled = f"{exact:f}"
            except (ValueError, OverflowError, InvalidOperation):
                return Odd(f"`{value[:30]}` is not a number", "write the number again")
            if "." in spelled:
                spelled = spelled.rstrip("0").rstrip(".").replace(".", self.mark)
            if len(self.numbers) < MAX_ROWS:
                self.numbers[value] = spelled
        return spelled
