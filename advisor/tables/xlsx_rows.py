"""Rows of one sheet of an XLSX file, read as a stream.

Source: ECMA-376 part 1 (Office Open XML), sections 18.3 (sheets), 18.4 (shared strings), 18.8.30
(number formats). Bounded: files in the archive and bytes unpacked are counted while they are read,
and documents with a DOCTYPE are refused, so neither a zip bomb nor an entity bomb gets far.
"""

from __future__ import annotations

import posixpath
import re
import zipfile
import zlib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from xml.parsers import expat

from advisor.errors import DataError, did_you_mean
from advisor.tables.csv_rows import table_bytes
from advisor.tables.rows import MAX_TEXT, table_error
from advisor.tables.sheet import Sheet

__all__ = ["MAX_UNPACKED", "Workbook"]

MAX_UNPACKED = 128 * 1024 * 1024
"""Bytes that the parts of an XLSX file may have unpacked, all together."""

MAX_PARTS = 2000
MAX_PIECES = MAX_TEXT  # a piece of text has at least one character
CHUNK = 64 * 1024
_BROKEN = (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, KeyError, OSError, ValueError)
_DATE_FORMATS = {*range(14, 23), *range(27, 37), *range(45, 48), *range(50, 59)}
_NOT_FORMAT = re.compile(r'"[^"]*"|\\.|\[[^\]]*\]')

Start = Callable[[str, dict[str, str]], None]


class Workbook:
    """An open XLSX file. Errors of everything here: ``DataError``."""

    def __init__(self, path: Path) -> None:
        self.file = str(path)
        self.unpacked = 0
        raw = table_bytes(path)
        if raw.startswith(b"\xd0\xcf\x11\xe0"):
            raise table_error(
                "not-xlsx",
                "the file is an older or an encrypted workbook",
                self.file,
                help="save it as XLSX without a password",
            )
        try:
            self.archive = zipfile.ZipFile(path)
        except _BROKEN:
            raise table_error(
                "not-xlsx", "the file is not an XLSX file", self.file, help="declare `form: csv`, if it is"
            ) from None
        parts = self.archive.infolist()
        size = sum(part.file_size for part in parts)
        if len(parts) > MAX_PARTS or size > MAX_UNPACKED:
            raise self._too_large(size)
        self.sheets = self._sheets()

    def _too_large(self, size: int) -> DataError:
        return table_error(
            "file-too-large", f"unpacked, the file has {size} bytes or more; the limit is {MAX_UNPACKED}", self.file
        )

    def pieces(self, part: str) -> Iterator[bytes]:
        """The unpacked bytes of one part, counted against the limit."""
        try:
            with self.archive.open(part) as stream:
                while piece := stream.read(CHUNK):
                    self.unpacked += len(piece)
                    if self.unpacked > MAX_UNPACKED:
                        raise self._too_large(self.unpacked)
                    yield piece
        except _BROKEN as error:
            reason = "is missing" if isinstance(error, KeyError) else "cannot be unpacked"
            raise table_error("not-xlsx", f"part `{part}` {reason}", self.file) from None

    def parse(self, part: str, handlers: Any) -> Iterator[None]:
        """Parse one part with the ``start``, ``end`` and ``text`` of ``handlers``, a piece a step."""
        parser = expat.ParserCreate()
        parser.buffer_text = True
        parser.StartElementHandler = handlers.start
        parser.EndElementHandler = handlers.end
        parser.CharacterDataHandler = handlers.text
        parser.StartDoctypeDeclHandler = self._doctype
        try:
            for piece in self.pieces(part):
                parser.Parse(piece, False)
                yield
            parser.Parse(b"", True)
        except expat.ExpatError as error:
            raise table_error("not-xlsx", f"part `{part}` is not well-formed: {error}", self.file) from None
        yield

    def _doctype(self, *_: Any) -> None:
        raise table_error("not-xlsx", "a part has a DOCTYPE, which no XLSX file needs", self.file)

    def _collect(self, part: str, element: str) -> list[dict[str, str]]:
        """The attributes of all elements of one name in a part, without prefixes."""
        found = _Attributes(element)
        for _ in self.parse(part, found):
            pass
        return found.found

    def _sheets(self) -> dict[str, str]:
        links = {
            one.get("Id", ""): one.get("Target", "")
            for one in self._collect("xl/_rels/workbook.xml.rels", "Relationship")
        }
        sheets = {}
        for one in self._collect("xl/workbook.xml", "sheet"):
            target = links.get(one.get("id", ""), "")
            part = target.lstrip("/") if target.startswith("/") else posixpath.normpath(f"xl/{target}")
            sheets[one.get("name", "")] = part
        return sheets

    def chosen(self, name: str | None) -> str:
        """The part of the sheet called ``name``, or of the only one."""
        if name is None and len(self.sheets) == 1:
            return next(iter(self.sheets.values()))
        listed = ", ".join(f"`{one}`" for one in self.sheets)
        if name is None:
            raise table_error(
                "sheet-unknown",
                f"the file has {len(self.sheets)} sheets",
                self.file,
                help=f"name one in `file.sheet`: {listed}",
            )
        if name not in self.sheets:
            help = did_you_mean(name, self.sheets) or f"it has {listed}"
            raise table_error("sheet-unknown", f"there is no sheet `{name}`", self.file, help=help)
        return self.sheets[name]

    def sheet(self, name: str | None, *, formulas: str = "refuse", decimal: str = "point") -> Sheet:
        """The rows of a sheet. ``decimal`` is how its numbers are to be spelled, as text is."""
        return Sheet(
            self.file,
            self.parse,
            self.chosen(name),
            strings=self._strings(),
            dates=self._date_styles(),
            formulas=formulas,
            mark="," if decimal == "comma" else ".",
        )

    def _strings(self) -> list[str]:
        if "xl/sharedStrings.xml" not in self.archive.namelist():
            return []
        strings = _Strings(self.file)
        for _ in self.parse("xl/sharedStrings.xml", strings):
            pass
        return strings.found

    def _date_styles(self) -> frozenset[str]:
        """The style numbers that show a number as a date or a time."""
        if "xl/styles.xml" not in self.archive.namelist():
            return frozenset()
        styles = _Styles()
        for _ in self.parse("xl/styles.xml", styles):
            pass
        return frozenset(str(at) for at, form in enumerate(styles.forms) if form in styles.dates or _is_date(form))


def _is_date(form: str) -> bool:
    return form.isdigit() and int(form) in _DATE_FORMATS


def _bare(attributes: dict[str, str]) -> dict[str, str]:
    return {name.rpartition(":")[2]: value for name, value in attributes.items()}


class _Attributes:
    """Collects the attributes of the elements of one name."""

    def __init__(self, element: str) -> None:
        self.element = element
        self.found: list[dict[str, str]] = []

    def start(self, name: str, attributes: dict[str, str]) -> None:
        if name.rpartition(":")[2] == self.element:
            self.found.append(_bare(attributes))

    def end(self, name: str) -> None:
        """Nothing ends."""

    def text(self, data: str) -> None:
        """No text counts."""


class _Strings:
    """Collects the shared strings; pronunciation marks (``rPh``) are no part of them."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.found: list[str] = []
        self.parts: list[str] = []
        self.inside = False
        self.aside = False

    def start(self, name: str, attributes: dict[str, str]) -> None:  # noqa: ARG002
        name = name.rpartition(":")[2]
        if name == "si":
            self.parts = []
        elif name == "rPh":
            self.aside = True
        self.inside = name == "t" and not self.aside

    def end(self, name: str) -> None:
        name = name.rpartition(":")[2]
        self.inside = False
        if name == "rPh":
            self.aside = False
        elif name == "si":
            self.found.append("".join(self.parts))

    def text(self, data: str) -> None:
        if self.inside:
            self.parts.append(data)
            if len(self.parts) > MAX_PIECES:
                raise table_error("cell-too-long", "a shared string is longer than a cell can be", self.file)


class _Styles:
    """Collects the number format of each cell style, and which formats are dates."""

    def __init__(self) -> None:
        self.forms: list[str] = []
        self.dates: set[str] = set()
        self.cells = False

    def start(self, name: str, attributes: dict[str, str]) -> None:
        name = name.rpartition(":")[2]
        if name == "numFmt":
            code = _NOT_FORMAT.sub("", attributes.get("formatCode", "")).lower()
            if re.search("[dmyhs]", code):
                self.dates.add(attributes.get("numFmtId", ""))
        elif name == "cellXfs":
            self.cells = True
        elif name == "xf" and self.cells:
            self.forms.append(attributes.get("numFmtId", "0"))

    def end(self, name: str) -> None:
        if name.rpartition(":")[2] == "cellXfs":
            self.cells = False

    def text(self, data: str) -> None:
        """No text counts."""
