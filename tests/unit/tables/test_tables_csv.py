"""CSV files: the rules of RFC 4180 one by one, and files that nobody should be hurt by."""

from __future__ import annotations

from pathlib import Path

import pytest
from table_files import HEAD, only_fault, read_bytes, reading_of

from advisor.errors import DataError
from advisor.tables import rows as limits
from advisor.tables.csv_rows import csv_rows

NOTES = HEAD + "  - {column: note, property: note, blank: absent}\n"


def cells(folder: Path, raw: bytes, delimiter: str = ",", encoding: str = "utf-8") -> list[list[object]]:
    path = folder / "t.csv"
    path.write_bytes(raw)
    return [list(row.cells) for row in csv_rows(path, delimiter=delimiter, encoding=encoding)]


# The texts are the examples of RFC 4180, section 2, by number.
@pytest.mark.parametrize(
    ("section", "raw", "expected"),
    [
        ("2.1", b"aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n", [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]),
        ("2.2", b"aaa,bbb,ccc\r\nzzz,yyy,xxx", [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]),
        ("2.4", b"aaa, bbb ,ccc\r\n", [["aaa", " bbb ", "ccc"]]),
        ("2.5", b'"aaa","bbb","ccc"\r\nzzz,yyy,xxx', [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]),
        ("2.6", b'"aaa","b\r\nbb","ccc"\r\nzzz,yyy,xxx', [["aaa", "b\r\nbb", "ccc"], ["zzz", "yyy", "xxx"]]),
        ("2.7", b'"aaa","b""bb","ccc"', [["aaa", 'b"bb', "ccc"]]),
    ],
)  # fmt: skip
def test_rfc_4180(tmp_path: Path, section: str, raw: bytes, expected: list[list[str]]) -> None:
    assert cells(tmp_path, raw) == expected, section


@pytest.mark.parametrize(("delimiter", "mark"), [(";", ";"), ("tab", "\t"), ("|", "|")])
def test_other_delimiters(tmp_path: Path, delimiter: str, mark: str) -> None:
    assert cells(tmp_path, f"a{mark}b,c\n".encode(), delimiter) == [["a", "b,c"]]


@pytest.mark.parametrize(
    ("encoding", "raw"),
    [("utf-8", "\ufeffid,n\u00e9\n".encode()), ("utf-16", "id,n\u00e9\n".encode("utf-16")),
     ("utf-16-le", "\ufeffid,n\u00e9\n".encode("utf-16-le")), ("latin-1", "id,n\u00e9\n".encode("latin-1"))],
)  # fmt: skip
def test_encodings_and_their_marks(tmp_path: Path, encoding: str, raw: bytes) -> None:
    assert cells(tmp_path, raw, encoding=encoding) == [["id", "n\u00e9"]]


@pytest.mark.parametrize(
    ("raw", "encoding", "code", "message", "help"),
    [
        (b"id,note\ntap,caf\xe9\n", "utf-8", "encoding-wrong", "offset 15", "`latin-1`"),
        ("id\n".encode("utf-16"), "utf-8", "encoding-wrong", "mark of UTF-16", "`encoding: utf-16`"),
        (b"\xef\xbb\xbfid\n", "latin-1", "encoding-wrong", "mark of UTF-8", "`encoding: utf-8`"),
        ("id\ntap\n".encode("utf-16-le"), "utf-8", "null-character", "offset 1", "utf-16-le"),
        (b"id\nta\0p\n", "utf-8", "null-character", "offset 5", "take it out"),
        (b"", "utf-8", "table-empty", "empty", "headings"),
        (b" \r\n\r\n", "utf-8", "table-empty", "empty", "headings"),
        (b"PK\x03\x04abc", "utf-8", "not-csv", "XLSX", "`form: xlsx`"),
        (b'id\n"tap\nkick\n', "utf-8", "csv-malformed", "unexpected end of data", "quotes"),
        (b'id\n"tap"x,1\n', "utf-8", "csv-malformed", "expected after", "doubled"),
        (b"id\n" + b"x" * 140_000, "utf-8", "csv-malformed", "field larger", "quotes"),
        (b"x," * 300 + b"\n", "utf-8", "table-too-wide", "301 cells", ""),
    ],
)  # fmt: skip
def test_hostile_files_are_named(
    tmp_path: Path, raw: bytes, encoding: str, code: str, message: str, help: str
) -> None:
    with pytest.raises(DataError) as caught:
        cells(tmp_path, raw, encoding=encoding)
    found = only_fault(caught.value)
    assert found[0] == code
    assert message in found[1]
    assert help in found[2]


def test_the_line_of_a_bad_byte_is_told(tmp_path: Path) -> None:
    with pytest.raises(DataError) as caught:
        cells(tmp_path, b"id\ntap\nk\xffck\n")
    assert caught.value.findings[0].line == 3


def test_a_million_rows_stop_at_the_limit(tmp_path: Path) -> None:
    path = tmp_path / "long.csv"
    path.write_bytes(b"id\n" + b"tap\n" * 1_000_000)
    seen: list[object] = []
    with pytest.raises(DataError, match="table-too-long"):
        seen.extend(csv_rows(path, delimiter=",", encoding="utf-8"))
    assert len(seen) == limits.MAX_ROWS


def test_a_file_over_the_limit_is_not_read(tmp_path: Path) -> None:
    path = tmp_path / "big.csv"
    with path.open("wb") as stream:
        stream.truncate(limits.MAX_BYTES + 1)
    with pytest.raises(DataError, match="file-too-large"):
        next(iter(csv_rows(path, delimiter=",", encoding="utf-8")))


def test_rows_are_counted_as_a_spreadsheet_counts_and_lines_as_the_file_has_them(tmp_path: Path) -> None:
    reading = read_bytes(tmp_path, b'id,note\r\ntap,"two\r\nlines"\r\nBad Id,x\r\n', NOTES)
    (found,) = reading.refused
    assert (found.path, found.line) == ("A3", 4)
    assert reading.moves[0].values["note"] == "two\r\nlines"


@pytest.mark.parametrize(
    ("raw", "path", "message"),
    [
        (b"id,note\ntap\n", "row 2", "1 cells; the headings are 2"),
        (b"id,note\ntap,a,b\n", "C2", "to the right of all headings"),
        (b"id,note\ntap,a\nhop,b\ntap,c\n", "A4", "`tap` is the id of row 2 already"),
        (b"id,note\n,a\n", "A2", "blank"),
        (b"id,note\nunknown,a\n", "A2", "not an id"),
    ],
)
def test_rows_that_are_refused_say_where(tmp_path: Path, raw: bytes, path: str, message: str) -> None:
    (found,) = read_bytes(tmp_path, raw, NOTES).refused
    assert found.path == path
    assert message in found.message


def test_a_row_of_blank_cells_is_skipped_and_an_extra_blank_cell_is_no_fault(tmp_path: Path) -> None:
    reading = read_bytes(tmp_path, b"id,note\n,\ntap,a,,\n", NOTES)
    assert (reading.blank_rows, reading.refused, [m.id for m in reading.moves]) == (1, [], ["tap"])


@pytest.mark.parametrize(
    ("raw", "code", "help"),
    [
        (b"id,note,note\n", "column-twice", "own heading"),
        (b"id,nota\n", "column-missing", "did you mean `nota`?"),
        (b"id,note,extra\n", "column-undeclared", "`ignore`"),
        (b"id,,note\n", "column-undeclared", "others"),
    ],
)  # fmt: skip
def test_headings_that_are_refused(tmp_path: Path, raw: bytes, code: str, help: str) -> None:
    with pytest.raises(DataError) as caught:
        read_bytes(tmp_path, raw + b"tap,a,b\n", NOTES)
    found = next(one for one in caught.value.findings if one.code == code)
    assert help in found.help


def test_a_missing_column_is_shown_in_the_mapping(tmp_path: Path) -> None:
    with pytest.raises(DataError) as caught:
        read_bytes(tmp_path, b"id,nota\n", NOTES)
    found = next(one for one in caught.value.findings if one.code == "column-missing")
    assert (found.file, found.line, found.column, found.path) == ("mapping.yaml", 6, 14, "columns[1].column")


def test_rows_of_other_characters_are_left_alone(tmp_path: Path) -> None:
    text = NOTES + "character: {column: who, words: {W: wren}}\n"
    path = tmp_path / "moves.csv"
    path.write_bytes(b"who,id,note\nW,tap,a\nstoat,tap,b\n,kick,c\n")
    reading = reading_of(path, text, character="wren")
    assert [move.values["note"] for move in reading.moves] == ["a"]
    assert (reading.other_rows, reading.others, reading.refused[0].path) == (1, {"stoat"}, "A4")
