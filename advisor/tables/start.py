"""A first mapping from a table's own headings and cells: what is sure is written, the rest is asked.

The startup convention is never chosen: the mapping cannot be used until its user has.
"""

from __future__ import annotations

import difflib
from itertools import islice
from pathlib import Path

from msgspec import Struct

from advisor.errors import DataError
from advisor.tables.csv_rows import csv_rows, decoded, table_bytes
from advisor.tables.flow import flow, quoted_text
from advisor.tables.headings import HEADINGS, UNSURE, plain_heading, property_of
from advisor.tables.mapping import DECIDE
from advisor.tables.properties import NUMERIC, PROPERTIES
from advisor.tables.rows import Cell, Odd, Row, address, table_error
from advisor.tables.xlsx_rows import Workbook

__all__ = ["FirstMapping", "first_mapping"]

LOOKED_AT = 2000
SAMPLES = 4
_DELIMITERS = {",": ",", ";": ";", "\t": "tab", "|": "|"}
_SIGNED_SORTS = frozenset({"signed", "amount"})


class FirstMapping(Struct, frozen=True):
    """The mapping's text, what was matched (heading, property), and what its user must decide."""

    text: str
    matched: tuple[tuple[str, str], ...]
    questions: tuple[str, ...]


def first_mapping(path: Path, *, sheet: str | None = None, header_row: int = 1) -> FirstMapping:
    """A first mapping for the table, from its headings and its first ``LOOKED_AT`` rows.

    Errors: ``DataError`` when the file cannot be read as a table.
    """
    return _Start(path, sheet, header_row).make()


class _Start:
    """One table looked at."""

    def __init__(self, path: Path, sheet: str | None, header_row: int) -> None:
        self.path = path
        self.sheet = sheet
        self.header_row = header_row
        self.questions: list[str] = []
        self.matched: list[tuple[str, str]] = []

    def make(self) -> FirstMapping:
        file, rows = self._file()
        headings = next((row for row in rows if row.number == self.header_row), None)
        if headings is None:
            raise table_error("table-empty", f"there is no row {self.header_row}", str(self.path))
        below = [row for row in rows if row.number > self.header_row]
        self.questions.append("`startup_counts`: does the table's startup include the first active frame?")
        lines = [
            f"# A first mapping for {quoted_text(self.path.name)}. Lines with a question wait for your answer.",
            "format: 1",
            f"file: {file}",
            "# first_active: a startup of 10 touches on frame 10; before_active: it touches on frame 11",
            f"startup_counts: {DECIDE}",
        ]
        if any(_with_comma(cell) for row in below for cell in row.cells):
            self.questions.append("`decimal`: some cells are like 1,5; is the comma a decimal comma?")
            lines.append("# decimal: comma       # some cells are like 1,5: is this a decimal comma?")
        lines.append("columns:")
        seen: dict[str, str] = {}
        for at, cell in enumerate(headings.cells):
            heading = cell.strip() if isinstance(cell, str) else ""
            if not heading:
                self.questions.append(f"column {address(at, self.header_row)} has no heading: give it one")
                continue
            lines += self._column(heading, at, below, seen)
        if not self.matched:
            lines.append(f"  []   # no heading was known; the properties are {', '.join(PROPERTIES)}")
        lines.append('# headings that are not to be read: ignore: ["Heading", ...], or ignore: others')
        lines.append("ignore: []")
        return FirstMapping("\n".join(lines) + "\n", tuple(self.matched), tuple(self.questions))

    def _file(self) -> tuple[str, list[Row]]:
        """The mapping's block ``file``, and the rows looked at."""
        raw = table_bytes(self.path)
        if raw.startswith((b"PK\x03\x04", b"\xd0\xcf\x11\xe0")):
            sheet = Workbook(self.path).sheet(self.sheet, formulas="refuse")
            block = {"form": "xlsx", "sheet": self.sheet, "header_row": self.header_row}
            rows = list(islice(sheet, LOOKED_AT + self.header_row))
            return flow({key: value for key, value in block.items() if value is not None}), rows
        encoding, stated = self._encoding(raw)
        text = decoded(raw, encoding, str(self.path))
        delimiter, certain = self._delimiter(text)
        rows = list(islice(csv_rows(self.path, delimiter=delimiter, encoding=encoding), LOOKED_AT + self.header_row))
        block = {
            "form": "csv",
            "delimiter": delimiter if certain else DECIDE,
            "encoding": stated,
            "header_row": self.header_row,
        }
        return flow(block), rows

    def _encoding(self, raw: bytes) -> tuple[str, str]:
        """The encoding to look with, and what the mapping says of it."""
        if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
            return "utf-16", "utf-16"
        try:
            decoded(raw, "utf-8", str(self.path))
        except DataError:
            if b"\0" in raw:
                raise
            self.questions.append("`file.encoding`: the file is not UTF-8; which encoding was it saved in?")
            return "latin-1", DECIDE
        return "utf-8", "utf-8"

    def _delimiter(self, text: str) -> tuple[str, bool]:
        """The mark that stands most often in the row of headings, and whether no other comes near."""
        lines = text.splitlines()
        line = lines[self.header_row - 1] if len(lines) >= self.header_row else ""
        counts = sorted(((line.count(mark), name) for mark, name in _DELIMITERS.items()), reverse=True)
        (most, first), (next_most, _) = counts[0], counts[1]
        certain = most > 0 and next_most == 0
        if not certain:
            self.questions.append(
                f"`file.delimiter`: what stands between the cells? `{first}` is {most} times in the headings"
            )
        return (first if most else ","), certain

    def _column(self, heading: str, at: int, below: list[Row], seen: dict[str, str]) -> list[str]:
        """The lines of the mapping for one column."""
        cells = [row.cells[at] if at < len(row.cells) else "" for row in below if any(row.cells)]
        texts = [cell.strip() for cell in cells if isinstance(cell, str)]
        values = list(dict.fromkeys(text for text in texts if text))
        sample = ", ".join(quoted_text(text[:24]) for text in values[:SAMPLES])
        name = property_of(heading)
        if not name or name in seen:
            return self._ask(heading, seen.get(name, ""), name, sample)
        seen[name] = heading
        self.matched.append((heading, name))
        column: dict[str, object] = {"column": heading, "property": name}
        notes: list[str] = []
        if PROPERTIES[name].sort in NUMERIC:
            column["forms"], left = _forms(name, values)
            if left:
                shown = ", ".join(quoted_text(text[:24]) for text in left[:SAMPLES])
                notes.append(f"in which form are {shown}? see `forms`, `not_available`")
        if len(texts) < len(cells):
            odd = next(cell for cell in cells if isinstance(cell, Odd))
            notes.append(f"{len(cells) - len(texts)} cell(s) are not text or numbers: {odd.message}")
        blanks = sum(not text for text in texts)
        if blanks:
            choice = "`blank: unknown`, `none`, `absent` or `keep`"
            notes.append(f"{blanks} of {len(cells)} cells are blank: {choice}? refused until then")
        self.questions += [f"`{heading}`: {note}" for note in notes]
        return [f"  - {flow(column)}", *(f"    # {note}" for note in notes)]

    def _ask(self, heading: str, holder: str, name: str, sample: str) -> list[str]:
        """A column that is not sure, as a comment."""
        if name:
            question = (
                f"{quoted_text(heading)} means `{name}` too, as {quoted_text(holder)} does: which of them is it?"
            )
            offered: tuple[str, ...] = (name,)
        else:
            offered = UNSURE.get(plain_heading(heading), ()) or _near(heading)
            may = " or ".join(f"`{one}`" for one in offered)
            question = f"what is {quoted_text(heading)}? " + (f"it may be {may}" if may else "map it or ignore it")
        self.questions.append(question)
        line = flow({"column": heading, "property": offered[0] if offered else "?"})
        return [f"  # {question}; cells: {sample or 'all blank'}", f"  # - {line}"]


def _with_comma(cell: Cell) -> bool:
    return isinstance(cell, str) and "," in cell and cell.strip().lstrip("+-").replace(",", "").isdigit()


def _near(heading: str) -> tuple[str, ...]:
    words = {word: name for name, listed in HEADINGS.items() for word in listed}
    near = difflib.get_close_matches(plain_heading(heading), words, n=2, cutoff=0.7)
    return tuple(dict.fromkeys(words[word] for word in near))


def _forms(name: str, values: list[str]) -> tuple[list[str], list[str]]:
    """The plain forms that the cells have, and the cells that have none of them."""
    signed = PROPERTIES[name].sort in _SIGNED_SORTS
    forms: list[str] = []
    left: list[str] = []
    for text in values:
        bare = text.replace("\u2212", "-")
        form = "signed" if bare[:1] in "+-" else "number"
        number = bare.lstrip("+-").replace(".", "", 1).replace(",", "", 1)
        if not (number.isascii() and number.isdigit()) or (form == "signed" and not signed):
            left.append(text)
        elif form not in forms:
            forms.append(form)
    return forms or ["number"], left
