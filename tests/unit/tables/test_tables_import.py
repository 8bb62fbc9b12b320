"""Importing: move by move into the file, comments kept, all or nothing."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from table_files import HEAD, PACK, WREN, Fen

from advisor.documents import parse_document
from advisor.errors import DataError, QuestionError
from advisor.pack.load import load_pack
from advisor.tables.importing import import_table
from advisor.tables.merge import Change

BLOCK = HEAD + "  - {column: block, property: on_block, forms: [signed], blank: unknown}\n"
START = "  - {column: start, property: startup, forms: [number], blank: keep}\n"


@pytest.fixture
def fen(tmp_path: Path) -> Fen:
    return Fen(tmp_path)


def test_one_changed_cell_changes_one_line(fen: Fen) -> None:
    report = fen.bring("id,block\ntap,+2\nkick,-8\n", BLOCK)
    assert [(one.move, one.state, one.changes) for one in report.taken] == [
        ("tap", "changed", [Change("on_block", 1, 2)]), ("kick", "same", []),
    ]  # fmt: skip
    assert report.only_in_file == ("hop",)
    line = "  - {id: tap, name: Tap, level: high, startup: 10, on_block: +1, follow_ups: [{move: kick, arrives: 14}]}"
    assert line in WREN
    expected = WREN.replace(f"{line}  # quick", f"  # quick\n{line.replace('+1', '+2')}")
    assert fen.wren.read_text() == expected


def test_comments_inside_a_rewritten_move_stand_in_front_of_it(fen: Fen) -> None:
    fen.bring("id,block\nkick,-9\n", BLOCK)
    expected = WREN[: WREN.index("  - id: kick")] + (
        "  # the 'long' one\n"
        "  - {id: kick, name: Kick, level: mid, startup: 14, on_block: -9, crouching: [1, 5]}\n"
    ) + WREN[WREN.index("\n  # off the ground"):]  # fmt: skip
    assert fen.wren.read_text() == expected


def test_a_new_move_goes_behind_the_last_and_before_what_follows(fen: Fen) -> None:
    report = fen.bring("id,block\nrap,-3\n", BLOCK)
    assert report.count("new") == 1
    expected = WREN.replace("health:", "  - {id: rap, on_block: -3}\nhealth:")
    assert fen.wren.read_text() == expected


def test_new_and_changed_at_the_end_together(fen: Fen) -> None:
    table = HEAD + "  - {column: total, property: total, forms: [number]}\n"
    fen.bring("id,total\nhop,31\nskip,12\n", table)
    hop = '  - {id: hop, name: "Hop # 2", kind: movement, total: 31, airborne: [4, 28]}\n'
    tail = f"{hop}  - {{id: skip, total: 12}}\nhealth"
    assert tail in fen.wren.read_text()


def test_line_ends_of_the_file_are_kept(tmp_path: Path) -> None:
    fen = Fen(tmp_path, WREN.replace("\n", "\r\n"))
    fen.bring("id,block\ntap,+2\nrap,-3\n", BLOCK)
    assert fen.wren.read_bytes().count(b"\r\n") == fen.wren.read_bytes().count(b"\n")


def test_unknown_takes_a_value_out_and_keep_leaves_it(fen: Fen) -> None:
    report = fen.bring("id,block,start\ntap,,\n", BLOCK + START)
    assert report.taken[0].changes == [Change("on_block", 1, None)]
    assert load_pack(fen.folder).pack.characters["wren"].moves["tap"].hits[0].first_active == 10


@pytest.mark.parametrize(
    ("table", "pack", "written"),
    [("first_active", "first_active", 12), ("before_active", "first_active", 13),
     ("first_active", "before_active", 11), ("before_active", "before_active", 12)],
)  # fmt: skip
def test_startup_is_brought_to_the_count_of_the_pack(tmp_path: Path, table: str, pack: str, written: int) -> None:
    fen = Fen(tmp_path, pack=PACK.replace("startup_counts: first_active", f"startup_counts: {pack}"))
    fen.bring("id,start\ntap,12\n", HEAD.replace("first_active", table) + START)
    moves = parse_document(fen.wren.read_bytes(), "wren").value["moves"]
    assert moves[0]["startup"] == written


def test_a_startup_that_the_pack_cannot_count_is_refused(tmp_path: Path) -> None:
    fen = Fen(tmp_path, pack=PACK.replace("startup_counts: first_active", "startup_counts: before_active"))
    (found,) = fen.bring("id,start\ntap,0\n", HEAD + START).refused
    assert (found.path, found.message) == ("B2", "startup 0 would be -1 in the pack's count")


def test_one_refused_cell_and_nothing_is_written(fen: Fen) -> None:
    report = fen.bring("id,block\ntap,+2\nkick,nine\n", BLOCK)
    assert not report.written
    assert [(one.path, one.line, one.column) for one in report.refused] == [("B3", 3, 2)]
    assert fen.wren.read_text() == WREN


def test_what_the_pack_would_not_load_is_not_written(fen: Fen) -> None:
    # The total contradicts nothing in the cell itself: only the loader sees that frame 28 is past it.
    table = HEAD + "  - {column: total, property: total, forms: [number]}\n"
    report = fen.bring("id,total\nhop,20\n", table)
    assert [one.code for one in report.refused] == ["window-past-total"]
    assert report.refused[0].file == str(fen.wren)
    assert fen.wren.read_text() == WREN


def test_a_dry_run_reports_and_writes_nothing(fen: Fen) -> None:
    report = fen.bring("id,block\ntap,+2\n", BLOCK, dry_run=True)
    assert (report.count("changed"), report.written) == (1, False)
    assert fen.wren.read_text() == WREN


def test_no_change_leaves_the_file_alone(fen: Fen) -> None:
    before = fen.wren.stat().st_ino
    assert not fen.bring("id,block\ntap,+1\n", BLOCK).written
    assert fen.wren.stat().st_ino == before


def test_nothing_is_left_beside_the_file_and_its_mode_stays(fen: Fen) -> None:
    fen.wren.chmod(0o640)
    assert fen.bring("id,block\ntap,+2\n", BLOCK).written
    assert os.listdir(fen.wren.parent) == ["wren.yaml"]
    assert fen.wren.stat().st_mode & 0o777 == 0o640


def test_several_hits_are_not_overwritten(tmp_path: Path) -> None:
    hits = "  - {id: tap, hits: [{level: high, startup: 10}, {level: mid, startup: 20}]}\n"
    fen = Fen(tmp_path, f"id: wren\nmoves:\n{hits}")
    (found,) = fen.bring("id,block\ntap,+2\n", BLOCK).refused
    assert (found.code, found.path) == ("hits-clash", "B2")
    assert fen.bring("id,block\ntap,\n", BLOCK).refused == ()


def test_moves_in_one_bracket_are_not_edited(tmp_path: Path) -> None:
    fen = Fen(tmp_path, "id: wren\nmoves: [{id: tap, level: high}, {id: kick, level: mid}]\n")
    with pytest.raises(DataError, match="does not begin on a line of its own"):
        fen.bring("id,block\ntap,+2\n", BLOCK)


def test_pushback_of_block_alone_keeps_that_of_hit(tmp_path: Path) -> None:
    fen = Fen(
        tmp_path,
        "id: wren\nmoves:\n  - {id: tap, level: high, pushback: 0.5}\n"
        "  - {id: kick, level: mid, pushback: {hit: 0.2}}\n",
    )
    text = HEAD + "  - {column: push, property: pushback_block, forms: [number]}\n"
    fen.bring("id,push\ntap,0.7\nkick,0.7\n", text)
    moves = load_pack(fen.folder).pack.characters["wren"].moves
    assert [(m.hits[0].pushback_block, m.hits[0].pushback_hit) for m in moves.values()] == [
        (700_000, 500_000), (700_000, 200_000),
    ]  # fmt: skip


def test_notes_from_behind_numbers_are_added_once(fen: Fen) -> None:
    text = HEAD + "  - {column: block, property: on_block, forms: [signed, suffixed], suffix: note}\n"
    assert fen.bring("id,block\ntap,+1 (low)\n", text).taken[0].changes == [Change("note", None, "on_block: low")]
    assert fen.bring("id,block\ntap,+1 (low)\n", text).taken[0].state == "same"


def test_a_roster_needs_a_column_that_says_whose_move_it_is(fen: Fen) -> None:
    rows = "".join(f"move_{n},+1\n" for n in range(401))
    (found,) = fen.bring(f"id,block\n{rows}", BLOCK).refused
    assert (found.code, found.line) == ("too-many-moves", 402)


def test_a_character_that_the_table_lacks_is_offered_the_nearest(fen: Fen) -> None:
    text = BLOCK + "character: {column: who}\n"
    (found,) = fen.bring("who,id,block\nwrenn,tap,+2\n", text).refused
    assert (found.code, found.help) == ("table-empty", "did you mean `wrenn`?")


@pytest.mark.parametrize(
    ("folder", "character", "code"),
    [
        ("fenland", "wrem", "character-unknown"),
        ("fenland", "Wren", "value-invalid"),
        ("marsh", "wren", "pack-unknown"),
    ],
)
def test_places_that_are_not_there(fen: Fen, folder: str, character: str, code: str) -> None:
    with pytest.raises(QuestionError) as caught:
        import_table(fen.wren, fen.wren, fen.scratch / folder, character)
    assert caught.value.code == code


def new_pack(folder: Path, name: str, table: str, mapping: str) -> Path:
    (folder / "t.csv").write_text(table)
    (folder / "m.yaml").write_text(mapping)
    report = import_table(folder / "t.csv", folder / "m.yaml", folder / name, "wren", new=True)
    assert report.refused == ()
    return folder / name


def test_a_new_pack_loads_and_declares_what_the_table_names(tmp_path: Path) -> None:
    text = HEAD.replace("first_active", "before_active") + START + (
        "  - {column: level, property: level}\n  - {column: tags, property: tags}\n"
        "  - {column: breaks, property: breaks, blank: none}\n"
    )  # fmt: skip
    folder = new_pack(
        tmp_path, "marsh", "id,start,level,tags,breaks\ntap,9,mid,hand,\ngrab,11,throw,grip,left\n", text
    )
    pack = load_pack(folder).pack
    moves = pack.characters["wren"].moves
    assert [move.hits[0].first_active for move in moves.values()] == [10, 12]
    assert moves["grab"].hits[0].breaks == {"left"}
    assert set(pack.system) == {"stand_guard", "crouch_guard"}
    assert sorted(path.name for path in tmp_path.iterdir()) == ["m.yaml", "marsh", "t.csv"]


def test_a_second_character_joins_a_pack_that_is_there(fen: Fen) -> None:
    (fen.scratch / "t.csv").write_text("id,block\njab,+1\n")
    (fen.scratch / "m.yaml").write_text(BLOCK)
    report = import_table(fen.scratch / "t.csv", fen.scratch / "m.yaml", fen.folder, "stoat", new=True)
    assert report.written
    assert set(load_pack(fen.folder).pack.characters) == {"wren", "stoat"}
    assert (fen.folder / "pack.yaml").read_text() == PACK


def test_a_folder_with_other_files_is_not_taken_for_a_new_pack(tmp_path: Path) -> None:
    (tmp_path / "marsh").mkdir()
    (tmp_path / "marsh" / "letter.txt").write_text("mine")
    with pytest.raises(QuestionError, match=r"has files but no `pack.yaml`"):
        import_table(tmp_path / "t", tmp_path / "m", tmp_path / "marsh", "wren", new=True)


def test_a_new_pack_with_a_refused_cell_is_not_made(tmp_path: Path) -> None:
    (tmp_path / "t.csv").write_text("id,block\ntap,+1\nkick,nine\n")
    (tmp_path / "m.yaml").write_text(BLOCK)
    report = import_table(tmp_path / "t.csv", tmp_path / "m.yaml", tmp_path / "marsh", "wren", new=True)
    assert ([one.path for one in report.refused], report.written) == (["B3"], False)
    assert not (tmp_path / "marsh").exists()
