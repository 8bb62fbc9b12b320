"""A first mapping: sure of what is sure, and a question for the rest; and the three commands."""

from __future__ import annotations

import re
from pathlib import Path

import openpyxl
import pytest
from click.testing import CliRunner, Result
from table_files import HEAD, Fen

from advisor.clients.tables import COMMANDS
from advisor.errors import DataError
from advisor.tables.headings import HEADINGS, UNSURE
from advisor.tables.mapping import read_mapping
from advisor.tables.properties import PROPERTIES
from advisor.tables.start import first_mapping

TABLE = "Move;Name;Startup;Block;Reech;Block Adv;Hit\n5A;Tap;10;-8 (low);1,2;+1;\n5B;Kick;14;+2;1,5;+2;+3\n"


def started(folder: Path, raw: bytes) -> tuple[str, tuple[str, ...]]:
    (folder / "t.csv").write_bytes(raw)
    made = first_mapping(folder / "t.csv")
    return made.text, made.questions


def run(name: str, *words: str | Path) -> Result:
    return CliRunner().invoke(COMMANDS[name], [str(word) for word in words])


def test_what_is_sure_is_written_and_the_rest_is_asked(tmp_path: Path) -> None:
    text, questions = started(tmp_path, TABLE.encode())
    assert "  - {column: Name, property: name}\n  - {column: Startup, property: startup, forms: [number]}\n" in text
    for question in (
        "`startup_counts`", "`decimal`", 'what is "Move"? it may be `name` or `input` or `id`',
        '`Block`: in which form are "-8 (low)"?', 'what is "Reech"? it may be `reach`',
        '"Block Adv" means `on_block` too, as "Block" does', "`Hit`: 1 of 2 cells are blank",
    ):  # fmt: skip
        assert any(question in one for one in questions), question
    assert len(questions) == 7
    assert '# what is "Move"? it may be `name` or `input` or `id`; cells: "5A", "5B"' in text


def test_a_first_mapping_fails_on_the_startup_convention_and_on_nothing_else(tmp_path: Path) -> None:
    text, _ = started(tmp_path, TABLE.encode())
    (tmp_path / "m.yaml").write_text(text)
    with pytest.raises(DataError) as caught:
        read_mapping(tmp_path / "m.yaml")
    assert [(one.code, one.path) for one in caught.value.findings] == [("mapping-undecided", "startup_counts")]
    (tmp_path / "m.yaml").write_text(text.replace("startup_counts: decide", "startup_counts: first_active"))
    assert [one.property for one in read_mapping(tmp_path / "m.yaml").columns] == [
        "name",
        "startup",
        "on_block",
        "on_hit",
    ]


@pytest.mark.parametrize(
    ("raw", "written", "asked"),
    [
        ("id;name\ntap;T\u00e4p\n".encode("latin-1"), "encoding: decide", "`file.encoding`"),
        ("id;name\ntap;Tap\n".encode("utf-16"), "encoding: utf-16,", ""),
        (b"id,na;me\ntap,Tap\n", "delimiter: decide", "`file.delimiter`"),
        (b"id\ntap\n", "delimiter: decide", "`file.delimiter`"),
    ],
)
def test_the_file_itself(tmp_path: Path, raw: bytes, written: str, asked: str) -> None:
    text, questions = started(tmp_path, raw)
    assert written in text
    assert [one for one in questions if asked and asked in one] or not asked


def test_a_table_whose_headings_are_all_strange(tmp_path: Path) -> None:
    text, questions = started(tmp_path, b"zzz;yyy\n1;2\n")
    (tmp_path / "m.yaml").write_text(text)
    with pytest.raises(DataError, match="columns"):
        read_mapping(tmp_path / "m.yaml")
    assert len(questions) == 3


def test_an_xlsx_file(tmp_path: Path) -> None:
    made = openpyxl.Workbook()
    made.active.append(["id", "startup"])
    made.active.append(["tap", "=1+2"])
    made.save(tmp_path / "t.xlsx")
    first = first_mapping(tmp_path / "t.xlsx")
    assert "file: {form: xlsx, header_row: 1}" in first.text
    assert any("holds a formula" in one for one in first.questions)


def test_the_word_list_is_one_word_one_property() -> None:
    assert HEADINGS.keys() == PROPERTIES.keys()
    words = [word for listed in HEADINGS.values() for word in listed]
    assert len(words) == len(set(words))
    assert not set(words) & UNSURE.keys()
    assert {name for listed in UNSURE.values() for name in listed} <= PROPERTIES.keys()
    assert all(re.fullmatch("[a-z]+", word) for word in [*words, *UNSURE])


def test_from_a_spreadsheet_to_a_pack(tmp_path: Path) -> None:
    (tmp_path / "t.csv").write_text("Name,Startup,Level\nTap,10,high\nKick,14,mid\n")
    ran = run("mapping", tmp_path / "t.csv", "--out", tmp_path / "m.yaml")
    assert ran.exit_code == 0, ran.output
    assert "`Startup` is `startup`" in ran.output
    words = (
        tmp_path / "t.csv",
        "--mapping",
        tmp_path / "m.yaml",
        "--pack-folder",
        tmp_path / "marsh",
        "--character",
        "wren",
        "--new",
    )
    ran = run("import", *words)
    assert ran.exit_code == 2
    assert "`startup_counts` is still to be decided" in ran.stderr
    assert not (tmp_path / "marsh").exists()
    text = (tmp_path / "m.yaml").read_text()
    (tmp_path / "m.yaml").write_text(text.replace("startup_counts: decide", "startup_counts: first_active"))
    ran = run("import", *words, "--dry-run")
    assert (ran.exit_code, (tmp_path / "marsh").exists()) == (0, False)
    assert "would be written" in ran.output
    ran = run("import", *words)
    assert ran.exit_code == 0, ran.output
    assert "2 rows: 2 new, 0 changed, 0 same, 0 refused" in ran.output
    ran = run("export", tmp_path / "marsh", "wren", "--to", tmp_path / "back.csv")
    assert ran.exit_code == 0, ran.output
    ran = run("import", tmp_path / "back.csv", "--mapping", tmp_path / "back.mapping.yaml", *words[3:])
    assert "0 new, 0 changed, 2 same" in ran.output
    assert "no change" in ran.output


def test_a_refused_import_ends_with_two_and_says_where(tmp_path: Path) -> None:
    fen = Fen(tmp_path)
    (tmp_path / "t.csv").write_text("id\nTap!\n")
    (tmp_path / "m.yaml").write_text(HEAD)
    words = (tmp_path / "t.csv", "--mapping", tmp_path / "m.yaml", "--pack-folder", fen.folder, "--character", "wren")
    ran = run("import", *words)
    assert ran.exit_code == 2
    assert "at `A2`: text `Tap!` is not an id" in ran.output
    assert "nothing is written" in ran.output
    assert '"path": "A2"' in run("import", *words, "--json").output


def test_export_of_the_demo_pack_lists_what_it_leaves_out(tmp_path: Path) -> None:
    ran = run("export", "cold_frame", "marl", "--to", tmp_path / "marl.csv")
    assert ran.exit_code == 0, ran.output
    assert "not in the table: hits of bellows" in ran.output
    assert "did you mean `cold_frame`?" in run("export", "cold_fram", "marl", "--to", tmp_path / "x.csv").stderr
    assert "did you mean `marl`?" in run("export", "cold_frame", "marll", "--to", tmp_path / "x.csv").stderr


def test_a_mapping_is_not_overwritten(tmp_path: Path) -> None:
    (tmp_path / "t.csv").write_text("id;name\ntap;Tap\n")
    (tmp_path / "m.yaml").write_text("mine")
    assert run("mapping", tmp_path / "t.csv", "--out", tmp_path / "m.yaml").exit_code == 2
    assert (tmp_path / "m.yaml").read_text() == "mine"
