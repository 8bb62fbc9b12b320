"""Rows of a CSV file, as RFC 4180 has them, with the delimiter and encoding that are declared.

Source: RFC 4180, section 2. Quoted cells may hold delimiters, doubled quotes and line breaks;
text behind a closing quote and a quote that never closes are refused. A quote inside an unquoted cell,
which the RFC does not allow, is taken as it stands.
"""

from __future__ import annotations

import csv
import io
from pathlib import Path

from advisor.tables.rows import MAX_BYTES, MAX_COLUMNS, MAX_ROWS, Row, Rows, table_error

__all__ = ["csv_rows", "decoded", "table_bytes"]

_MARKS = {b"\xef\xbb\xbf": ("utf-8", "UTF-8"), b"\xff\xfe": ("utf-16", "UTF-16"), b"\xfe\xff": ("utf-16", "UTF-16")}


def table_bytes(path: Path) -> bytes:
    """The bytes of a table file. Errors: ``DataError`` when it is unreadable, empty or over ``MAX_BYTES``."""
    file = str(path)
    try:
        size = path.stat().st_size
        if size > MAX_BYTES:
            raise table_error("file-too-large", f"the file has {size} bytes; the limit is {MAX_BYTES}", file)
        raw = path.read_bytes()
    except OSError as error:
        raise table_error("file-unreadable", f"cannot be read: {error.strerror}", file) from None
    if not raw.strip():
        raise table_error(
            "table-empty", "the file is empty", file, help="it needs a row of headings and a row a move"
        )
    return raw


def decoded(raw: bytes, encoding: str, file: str) -> str:
    """The text of a CSV file. Errors: ``DataError`` with the byte offset and what to declare instead."""
    for mark, (family, name) in _MARKS.items():
        if raw.startswith(mark) and not encoding.startswith(family):
            raise table_error(
                "encoding-wrong",
                f"the file begins with a byte order mark of {name}, and `{encoding}` is declared",
                file,
                help=f"declare `encoding: {family}`",
            )
    if raw.startswith(b"PK\x03\x04"):
        raise table_error("not-csv", "the file is no text; it looks like XLSX", file, help="declare `form: xlsx`")
    try:
        text = raw.decode("utf-8-sig" if encoding == "utf-8" else encoding)
    except UnicodeDecodeError as error:
        others = "`latin-1`, `cp1252` or `utf-16`" if encoding == "utf-8" else "another one, such as `utf-8`"
        raise table_error(
            "encoding-wrong",
            f"byte 0x{raw[error.start]:02x} at offset {error.start} is not {encoding} text",
            file,
            line=raw.count(b"\n", 0, error.start) + 1,
            help=f"declare the encoding it was saved in ({others}), or save it as UTF-8",
        ) from None
    if "\0" in text:
        at = text.index("\0")
        help = "declare `encoding: utf-16-le` or `utf-16-be`" if raw.count(0) * 3 > len(raw) else "take it out"
        raise table_error(
            "null-character",
            f"a null character stands at offset {at}",
            file,
            line=text.count("\n", 0, at) + 1,
            help=help,
        )
    return text.removeprefix("\ufeff")


def csv_rows(path: Path, *, delimiter: str, encoding: str) -> Rows:
    """The rows of a CSV file, blank lines left out. Errors: ``DataError``."""
    file = str(path)
    text = decoded(table_bytes(path), encoding, file)
    reader = csv.reader(
        io.StringIO(text, newline=""), delimiter="\t" if delimiter == "tab" else delimiter, strict=True
    )
    line, number = 1, 0
    while True:
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            raise table_error(
                "csv-malformed",
                f"the record cannot be read: {error}",
                file,
                line=line,
                path=f"row {number + 1}",
                help="a cell with quotes, delimiters or line breaks stands in quotes, and quotes in it are doubled",
            ) from None
        number += 1
        if number > MAX_ROWS:
            raise table_error(
                "table-too-long", f"the table has more than {MAX_ROWS} rows", file, line=line, help="split it"
            )
        if len(cells) > MAX_COLUMNS:
            raise table_error(
                "table-too-wide", f"a row has {len(cells)} cells; the limit is {MAX_COLUMNS}", file, line=line
            )
        if cells:
            yield Row(number, line, cells)  # type: ignore[arg-type]
        line = reader.line_num + 1
