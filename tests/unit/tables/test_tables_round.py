"""Out and back: what a table carries comes back as it was, over the demo pack and over made moves."""

from __future__ import annotations

import csv
import io
import shutil
import string
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from table_files import PACK, reading_of

from advisor.documents import parse_document
from advisor.library import bundled_rules
from advisor.pack.load import load_pack
from advisor.pack.words import declared_words
from advisor.tables.export import export_character, mapping_text, table_text
from advisor.tables.flow import move_line
from advisor.tables.importing import import_table
from advisor.tables.merge import merged_move
from advisor.tables.properties import PROPERTIES

DEMO = bundled_rules() / "packs" / "cold_frame"
CHARACTERS = sorted(path.stem for path in (DEMO / "characters").glob("*.yaml"))


def written(folder: Path, character: str) -> list[dict[str, Any]]:
    path = folder / "characters" / f"{character}.yaml"
    moves: list[dict[str, Any]] = parse_document(path.read_bytes(), path.name).value["moves"]
    return moves


def carried(move: dict[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in move.items() if key in PROPERTIES}


def brought(folder: Path, pack: Path, character: str, *, new: bool = False) -> None:
    made = export_character(DEMO, character)
    (folder / "t.csv").write_bytes(made.table.encode())
    (folder / "m.yaml").write_bytes(made.mapping.encode())
    report = import_table(folder / "t.csv", folder / "m.yaml", pack, character, new=new)
    assert report.refused == ()


@pytest.mark.parametrize("character", CHARACTERS)
def test_a_character_comes_back_over_its_own_file_unchanged(tmp_path: Path, character: str) -> None:
    pack = tmp_path / "cold_frame"
    shutil.copytree(DEMO, pack)
    target = pack / "characters" / f"{character}.yaml"
    brought(tmp_path, pack, character)
    assert target.read_bytes() == (DEMO / "characters" / target.name).read_bytes()


@pytest.mark.parametrize("character", CHARACTERS)
def test_a_character_comes_back_when_its_numbers_were_spoiled(tmp_path: Path, character: str) -> None:
    pack = tmp_path / "cold_frame"
    shutil.copytree(DEMO, pack)
    target = pack / "characters" / f"{character}.yaml"
    moves = written(DEMO, character)
    for move in moves:
        for key in ("on_block", "startup", "note", "tags", "pushback"):
            move.pop(key, None)
        move["source"] = "spoiled"
    lines = target.read_text(encoding="utf-8").split("moves:\n")[0] + "moves:\n"
    target.write_text(lines + "".join(f"{move_line(move)}\n" for move in moves), encoding="utf-8")
    brought(tmp_path, pack, character)
    assert load_pack(pack).pack.characters[character].moves == load_pack(DEMO).pack.characters[character].moves
    assert written(pack, character) == written(DEMO, character)


@pytest.mark.parametrize("character", CHARACTERS)
def test_what_a_table_alone_gives_and_what_is_listed_as_left_out_make_the_move(
    tmp_path: Path, character: str
) -> None:
    made = export_character(DEMO, character)
    (tmp_path / "t.csv").write_bytes(made.table.encode())
    words = declared_words(parse_document((DEMO / "pack.yaml").read_bytes(), "pack.yaml").value)
    reading = reading_of(tmp_path / "t.csv", made.mapping, words)
    assert reading.refused == []
    moves = written(DEMO, character)
    assert made.moves == len(moves) == len(reading.moves)
    for move, row in zip(moves, reading.moves, strict=True):
        back = merged_move({}, row, reading)
        lost = {key for name, key in made.left_out if name == move["id"]}
        assert lost == move.keys() - PROPERTIES.keys()
        assert back == {key: value for key, value in move.items() if key not in lost}


def optional(keys: dict[str, st.SearchStrategy[Any]]) -> st.SearchStrategy[dict[str, Any]]:
    return st.fixed_dictionaries({}, optional=keys)


LETTERS = st.characters(codec="utf-8", exclude_categories=("Cs", "Cc")) | st.sampled_from("=+-@'\",;\t\n#:{}[]&*!|>%")
TEXT = st.text(LETTERS, min_size=1, max_size=40).filter(lambda text: "\0" not in text)
SHIFT = st.integers(-1000, 1000) | st.decimals(-999, 999, places=6).map(float)
AMOUNT = st.integers(0, 900) | st.decimals(0, 900, places=3).map(float)
COUNT = st.integers(0, 9999)
SIGNED = st.integers(-9999, 9999)
MOVES = optional(
    {
        "name": st.text(string.ascii_letters + " '#-", min_size=1, max_size=20),
        "input": TEXT, "note": TEXT, "source": TEXT, "kind": st.just("attack"),
        "level": st.sampled_from(["high", "mid"]), "startup": COUNT, "active": st.integers(1, 9999),
        "recovery": COUNT, "total": st.integers(1, 9999) | st.just("held"), "damage": AMOUNT, "chip": AMOUNT,
        "on_block": SIGNED, "on_hit": SIGNED, "on_counter_hit": SIGNED, "blockstun": COUNT, "hitstun": COUNT,
        "reach": AMOUNT | st.sampled_from(["touching", "far"]),
        "pushback": SHIFT | st.dictionaries(st.sampled_from(["block", "hit"]), SHIFT, min_size=1),
        "tracking": st.sampled_from(["left", "right", "both", "none", "unknown"]),
        "tags": st.sampled_from([["hand"], ["hop", "hand"], "none", "unknown"]),
        "cost": COUNT | st.just("none"),
    }
)  # fmt: skip


@given(st.lists(MOVES, min_size=1, max_size=5))
def test_made_moves_come_back(tmp_path_factory: pytest.TempPathFactory, moves: list[dict[str, Any]]) -> None:
    named = [{"id": f"move_{number}", **move} for number, move in enumerate(moves)]
    table, left_out = table_text(named)
    assert left_out == []
    path = tmp_path_factory.getbasetemp() / "made.csv"
    path.write_bytes(table.encode())
    words = declared_words(parse_document(PACK.encode(), "pack.yaml").value)
    reading = reading_of(path, mapping_text("first_active"), words)
    assert reading.refused == []
    assert [merged_move({}, row, reading) for row in reading.moves] == named


@given(MOVES)
def test_made_moves_are_written_as_they_are_read(move: dict[str, Any]) -> None:
    text = f"moves:\n{move_line(move)}\n"
    assert parse_document(text.encode(), "made.yaml").value == {"moves": [move]}


@pytest.mark.parametrize("text", ["=1+1", "+fen", "-10 and close", "@fen", "\tfen", "'fen", "\nfen"])
def test_no_text_of_a_table_is_a_formula(text: str) -> None:
    table, _ = table_text([{"id": "tap", "note": text, "on_block": -10, "on_hit": 3}])
    header, row = csv.reader(io.StringIO(table, newline=""))
    cells = dict(zip(header, row, strict=True))
    assert cells["note"] == f"'{text}"
    assert (cells["on_block"], cells["on_hit"]) == ("-10", "+3")


def test_lines_end_as_rfc_4180_has_it() -> None:
    # RFC 4180, 2.1: each record ends with CR LF.
    table, _ = table_text([{"id": "tap"}, {"id": "kick"}])
    assert table.count("\r\n") == table.count("\n") == 3


def test_what_one_cell_cannot_carry_is_listed() -> None:
    _, left_out = table_text([{"id": "tap", "airborne": [1, 2], "hits": [{"level": "mid"}], "note": ""}])
    assert left_out == [("tap", "airborne"), ("tap", "hits"), ("tap", "note")]
