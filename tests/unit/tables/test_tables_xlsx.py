"""XLSX files: those of an independent writer (openpyxl), and archives made by hand to do harm."""

from __future__ import annotations

import datetime
import random
import zipfile
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from table_files import HEAD, only_fault, reading_of

from advisor.errors import DataError
from advisor.tables import xlsx_rows
from advisor.tables.reading import Reading
from advisor.tables.rows import MAX_ROWS, Odd
from advisor.tables.sheet import Sheet
from advisor.tables.xlsx_rows import Workbook

XLSX = HEAD.replace('{form: csv, delimiter: ",", encoding: utf-8}', "{form: xlsx}")
BLOCK = XLSX + "  - {column: block, property: on_block, forms: [number, signed], blank: unknown}\n"
REACH = XLSX + "  - {column: reach, property: reach, forms: [number]}\n"


def book(path: Path, rows: list[list[Any]], **also: Any) -> Path:
    made = openpyxl.Workbook()
    sheet = made.active
    for row in rows:
        sheet.append(row)
    for ref in also.get("merge", ()):
        sheet.merge_cells(ref)
    for name in also.get("sheets", ()):
        made.create_sheet(name)
    made.save(path)
    return path


def read(folder: Path, rows: list[list[Any]], mapping: str, **also: Any) -> Reading:
    return reading_of(book(folder / "t.xlsx", rows, **also), mapping)


def test_numbers_and_numbers_stored_as_text_are_the_same(tmp_path: Path) -> None:
    reading = read(tmp_path, [["id", "block"], ["tap", -8], ["kick", "-8"], ["rap", None], ["hop", "+3"]], BLOCK)
    assert reading.refused == []
    assert [str(move.values["on_block"]) for move in reading.moves] == ["-8", "-8", "UNSET", "3"]


@pytest.mark.parametrize(
    ("stored", "decimal", "value"), [(1.1, "point", 1.1), (0.1 + 0.2, "comma", 0.3), (2.0, "point", 2)]
)
def test_decimals_are_what_a_person_typed(tmp_path: Path, stored: float, decimal: str, value: float) -> None:
    reading = read(tmp_path, [["id", "reach"], ["tap", stored]], f"{REACH}decimal: {decimal}\n")
    assert reading.moves[0].values["reach"] == value


@pytest.mark.parametrize(
    ("cell", "message"),
    [
        ("=1+2", "formula"),
        (datetime.date(2026, 3, 4), "made a date of this cell"),
        (datetime.datetime(2026, 3, 4, 5), "made a date of this cell"),
        (datetime.time(5, 4), "made a date of this cell"),
        (True, "truth value"),
        ("#N/A", "error"),
    ],
)
def test_cells_that_only_seem_to_be_numbers(tmp_path: Path, cell: object, message: str) -> None:
    (found,) = read(tmp_path, [["id", "block"], ["tap", cell]], BLOCK).refused
    assert found.path == "B2"
    assert message in found.message
    assert found.help


def raw_sheet(path: Path, sheet: str, **parts: str) -> Path:
    """An archive with one sheet, written by hand."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(
            "xl/workbook.xml", '<workbook xmlns:r="r"><sheets><sheet name="a" r:id="x"/></sheets></workbook>'
        )
        archive.writestr(
            "xl/_rels/workbook.xml.rels",
            '<Relationships><Relationship Id="x" Target="worksheets/s.xml"/></Relationships>',
        )
        archive.writestr("xl/worksheets/s.xml", sheet)
        for name, text in parts.items():
            archive.writestr(f"xl/{name}.xml", text)
    return path


def test_a_number_met_before_is_no_excuse_for_a_date_or_a_formula(tmp_path: Path) -> None:
    cells = '<c><v>46085</v></c><c><v>46085</v></c><c s="1"><v>46085</v></c><c><f>1+2</f><v>46085</v></c>'
    styles = '<styleSheet><cellXfs><xf numFmtId="0"/><xf numFmtId="14"/></cellXfs></styleSheet>'
    path = raw_sheet(tmp_path / "t.xlsx", f"<worksheet><row>{cells}</row></worksheet>", styles=styles)
    ((first, second, *others),) = (row.cells for row in Workbook(path).sheet(None))
    assert (first, second) == ("46085", "46085")
    assert [type(cell) for cell in others] == [Odd, Odd]


FORMULA = (
    '<worksheet><sheetData><row r="1"><c r="A1" t="inlineStr"><is><t>id</t></is></c><c r="B1" t="inlineStr"><is>'
    '<t>block</t></is></c></row><row r="2"><c r="A2" t="inlineStr"><is><t>tap</t></is></c><c r="B2"><f>1+2</f>{}</c>'
    "</row></sheetData></worksheet>"
)


@pytest.mark.parametrize(
    ("formulas", "stored", "value", "refused"),
    [
        ("values", "<v>3</v>", 3, None),
        ("values", "", None, "no stored value"),
        ("refuse", "<v>3</v>", None, "a formula"),
    ],
)
def test_formulas_as_the_mapping_says(
    tmp_path: Path, formulas: str, stored: str, value: int | None, refused: str | None
) -> None:
    path = raw_sheet(tmp_path / "t.xlsx", FORMULA.format(stored))
    reading = reading_of(path, BLOCK.replace("{form: xlsx}", f"{{form: xlsx, formulas: {formulas}}}"))
    assert [move.values["on_block"] for move in reading.moves] == ([] if value is None else [value])
    assert [refused in one.message for one in reading.refused if refused] == ([True] if refused else [])


def test_rich_text_and_no_pronunciation(tmp_path: Path) -> None:
    strings = "<sst><si><r><t>ta</t></r><r><t>p</t></r><rPh><t>zz</t></rPh></si><si><t>id</t></si></sst>"
    rows = "".join(f'<row><c t="s"><v>{at}</v></c></row>' for at in (1, 0, 9))
    sheet = f"<worksheet>{rows}</worksheet>"
    reading = reading_of(raw_sheet(tmp_path / "t.xlsx", sheet, sharedStrings=strings), XLSX)
    assert [move.id for move in reading.moves] == ["tap"]
    assert [one.path for one in reading.refused] == ["A3"]


def test_merged_cells_are_refused_below_the_headings_only(tmp_path: Path) -> None:
    rows = [["The fen", None], ["id", "block"], ["tap", 1], [None, 2]]
    text = BLOCK.replace("{form: xlsx}", "{form: xlsx, header_row: 2}")
    with pytest.raises(DataError) as caught:
        read(tmp_path, rows, text, merge=["A3:A4"])
    (found,) = caught.value.findings
    assert (found.code, found.path) == ("cells-merged", "A3:A4")
    assert len(read(tmp_path, rows[:3], text, merge=["A1:B1"]).moves) == 1


@pytest.mark.parametrize(("sheet", "help"), [("", "`Sheet`, `other`"), (", sheet: othre", "did you mean `other`?")])
def test_the_sheet_is_named_when_there_are_several(tmp_path: Path, sheet: str, help: str) -> None:
    with pytest.raises(DataError) as caught:
        read(tmp_path, [["id"], ["tap"]], XLSX.replace("{form: xlsx", f"{{form: xlsx{sheet}"), sheets=["other"])
    assert help in only_fault(caught.value)[2]


@pytest.mark.parametrize(
    ("raw", "message"),
    [
        (b"id,block\ntap,1\n", "not an XLSX file"),
        (b"\xd0\xcf\x11\xe0" + b"\0" * 600, "older or an encrypted workbook"),
        (b"PK\x03\x04" + b"\0" * 100, "not an XLSX file"),
        (b"", "empty"),
    ],
)
def test_files_that_are_not_xlsx(tmp_path: Path, raw: bytes, message: str) -> None:
    (tmp_path / "t.xlsx").write_bytes(raw)
    with pytest.raises(DataError, match=message):
        reading_of(tmp_path / "t.xlsx", XLSX)


@pytest.mark.parametrize(
    ("sheet", "message"),
    [
        ("<worksheet><row>", "not well-formed"),
        ('<!DOCTYPE a [<!ENTITY b "bbbb"><!ENTITY c "&b;&b;&b;">]><worksheet>&c;</worksheet>', "DOCTYPE"),
        (f'<worksheet><row r="{MAX_ROWS + 1}"/></worksheet>', "more than"),
        ('<worksheet><row r="1"><c r="ZZZ1"><v>1</v></c></row></worksheet>', "past the limit of 256 columns"),
        ("<worksheet/>", "no row 1 with headings"),
        ('<worksheet><row r="1"><c r="9"><v>1</v></c></row></worksheet>', "no column of a cell"),
        ('<worksheet><row r="2"/><row r="1"/></worksheet>', "does not follow 2"),
        (
            '<worksheet><row r="1"><c r="B1"><v>1</v></c><c r="A1"><v>1</v></c></row></worksheet>',
            "cells to its right",
        ),
        (
            f"<worksheet><row><c t='inlineStr'><is><t>{'x ' * 20_000}</t></is></c></row></worksheet>",
            "cell `A1` has more",
        ),
    ],
)
def test_sheets_that_are_broken_or_meant_to_harm(tmp_path: Path, sheet: str, message: str) -> None:
    with pytest.raises(DataError, match=message):
        reading_of(raw_sheet(tmp_path / "t.xlsx", sheet), XLSX)


def test_a_part_that_is_damaged_or_missing(tmp_path: Path) -> None:
    path = raw_sheet(tmp_path / "t.xlsx", "<worksheet>" + "<row/>" * 5000 + "</worksheet>")
    raw = bytearray(path.read_bytes())
    at = raw.index(b"xl/worksheets/s.xml") + 19
    raw[at : at + 8] = b"\xff" * 8
    path.write_bytes(bytes(raw))
    with pytest.raises(DataError, match="cannot be unpacked"):
        reading_of(path, XLSX)
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("other.xml", "<a/>")
    with pytest.raises(DataError, match="is missing"):
        reading_of(path, XLSX)


def test_a_zip_bomb_stops_at_the_bound_although_it_lies_about_its_size(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = raw_sheet(tmp_path / "t.xlsx", "<worksheet>" + " " * 3_000_000 + "</worksheet>")
    assert path.stat().st_size < 10_000
    monkeypatch.setattr(xlsx_rows, "MAX_UNPACKED", 1_000_000)
    with pytest.raises(DataError, match="the limit is 1000000"):
        Workbook(path)
    real = zipfile.ZipFile.infolist
    monkeypatch.setattr(zipfile.ZipFile, "infolist", lambda archive: real(archive)[:0])
    taken = Workbook(path)
    with pytest.raises(DataError, match="the limit is 1000000"):
        list(taken.sheet(None))
    assert taken.unpacked <= 1_000_000 + xlsx_rows.CHUNK


def test_a_sheet_agrees_with_an_independent_reader(tmp_path: Path) -> None:
    rows = [["id", "reach", "note"], ["tap", 1.25, "a & b"], ["kick", None, " <x> "], [None, 7, "\u2212\U0001f98e"]]
    path = book(tmp_path / "t.xlsx", rows)
    theirs = [
        ["" if cell is None else str(cell) for cell in row] for row in openpyxl.load_workbook(path).active.values
    ]
    sheet = Workbook(path).sheet(None)
    assert isinstance(sheet, Sheet)
    assert [row.cells for row in sheet] == theirs


@pytest.mark.parametrize("seed", range(4))
def test_damaged_files_give_errors_of_ours_or_are_read(tmp_path: Path, seed: int) -> None:
    rng = random.Random(seed)
    whole = book(tmp_path / "t.xlsx", [["id", "block"], ["tap", -8], ["kick", "=1"]])
    with zipfile.ZipFile(whole) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    kept = 0
    for _ in range(100):
        spoiled = rng.choice(sorted(parts))
        raw = bytearray(parts[spoiled])
        for _ in range(rng.randrange(1, 4)):
            at = rng.randrange(len(raw))
            raw[at : at + rng.randrange(4)] = rng.choice([b"", b'"', b"<v>", b"A1", b"-1", b"\0", b"9" * 12, b"</c>"])
        with zipfile.ZipFile(tmp_path / "d.xlsx", "w") as archive:
            for name, part in parts.items():
                archive.writestr(name, bytes(raw) if name == spoiled else part)
        try:
            reading = reading_of(tmp_path / "d.xlsx", BLOCK + "ignore: others\n")
            kept += 1
            assert reading.refused_in_all + len(reading.moves) + reading.blank_rows <= 3
        except DataError as error:
            assert error.findings[0].message
    assert 0 < kept < 100
