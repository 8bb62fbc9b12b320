"""What a pack's folder may hold, its limits, and the hash of its data."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

from advisor.documents import MAX_BYTES
from advisor.errors import DataError
from advisor.pack.load import load_pack
from tests.unit.pack.pack_folder import CHARACTER, PACK, spoiled, write_pack


def faults_of(folder: Path) -> list[tuple[str, str]]:
    """Name of the file or folder and code of each fault."""
    with pytest.raises(DataError) as caught:
        load_pack(folder)
    assert all(one.file and one.line >= 1 and one.column >= 1 for one in caught.value.findings)
    return [(Path(one.file).name, one.code) for one in caught.value.findings if one.severity == "error"]


def test_a_pack_is_loaded_in_file_order(tmp_path: Path) -> None:
    pack = load_pack(write_pack(tmp_path)).pack
    assert (pack.id, pack.name, pack.version) == ("kiln", "Kiln Yard", "1.0")
    assert list(pack.system) == ["guard", "backstep"]
    assert list(pack.characters["ash"].moves) == ["tap", "sweep", "grip", "ward", "flurry", "spring"]
    assert pack.characters["ash"].key_moves == ("tap",)
    assert pack.characters["ash"].health == 180


def test_no_folder(tmp_path: Path) -> None:
    assert ("pack.yaml", "file-missing") in faults_of(tmp_path / "nowhere")


def test_no_characters_folder(tmp_path: Path) -> None:
    folder = write_pack(tmp_path)
    shutil.rmtree(folder / "characters")
    assert faults_of(folder) == [("characters", "characters-missing")]


def test_no_character_files(tmp_path: Path) -> None:
    assert faults_of(write_pack(tmp_path, characters={})) == [("characters", "characters-missing")]


def test_a_characters_file_is_no_folder(tmp_path: Path) -> None:
    folder = write_pack(tmp_path, characters={})
    (folder / "characters").rmdir()
    (folder / "characters").write_text("x: 1\n")
    assert faults_of(folder) == [("characters", "characters-missing")]


def test_a_character_file_that_is_a_folder(tmp_path: Path) -> None:
    folder = write_pack(tmp_path)
    (folder / "characters" / "bo.yaml").mkdir()
    assert faults_of(folder) == [("bo.yaml", "file-unreadable")]


def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    folder = write_pack(tmp_path)
    os.mkfifo(folder / "characters" / "bo.yaml")
    assert faults_of(folder) == [("bo.yaml", "file-unreadable")]


def test_one_id_in_two_files(tmp_path: Path) -> None:
    folder = write_pack(tmp_path, characters={"ash": CHARACTER, "bo": CHARACTER})
    assert faults_of(folder) == [("bo.yaml", "id-duplicate"), ("bo.yaml", "id-not-place")]


def test_a_link_out_of_the_folder_is_not_followed(tmp_path: Path) -> None:
    folder = write_pack(tmp_path, characters={"ash": CHARACTER})
    outside = tmp_path / "bo.yaml"
    outside.write_text(spoiled(CHARACTER, "id: ash", "id: bo"))
    (folder / "characters" / "bo.yaml").symlink_to(outside)
    assert faults_of(folder) == [("bo.yaml", "file-outside")]


def test_a_characters_folder_that_leads_out_is_not_followed(tmp_path: Path) -> None:
    folder = write_pack(tmp_path)
    (folder / "characters").rename(tmp_path / "elsewhere")
    (folder / "characters").symlink_to(tmp_path / "elsewhere")
    assert faults_of(folder) == [("ash.yaml", "file-outside")]


def test_a_link_in_a_circle_is_a_fault(tmp_path: Path) -> None:
    folder = write_pack(tmp_path)
    (folder / "characters" / "bo.yaml").symlink_to(folder / "characters" / "bo.yaml")
    assert faults_of(folder) == [("bo.yaml", "file-unreadable")]


def test_a_link_within_the_folder_is_followed(tmp_path: Path) -> None:
    folder = write_pack(tmp_path)
    (folder / "characters" / "ash.yaml").rename(folder / "data")
    (folder / "characters" / "ash.yaml").symlink_to(folder / "data")
    assert list(load_pack(folder).pack.characters) == ["ash"]


def test_other_files_are_told_and_hidden_ones_are_not(tmp_path: Path) -> None:
    folder = write_pack(tmp_path)
    (folder / "characters" / "bo.yml").write_text("id: bo\n")
    (folder / "characters" / ".swap").write_text("")
    (told,) = load_pack(folder).warnings
    assert (told.code, Path(told.file).name, told.line) == ("file-ignored", "bo.yml", 1)


def test_a_file_name_that_is_not_text(tmp_path: Path) -> None:
    folder = write_pack(tmp_path)
    odd = os.fsencode(folder / "characters") + b"/\xff\xfe.yaml"
    with open(odd, "wb") as file:
        file.write(spoiled(CHARACTER, "id: ash", "id: bo").encode())
    with pytest.raises(DataError) as caught:
        load_pack(folder)
    (only,) = caught.value.findings
    assert only.code == "id-not-place"
    only.shown().encode()


def test_201_characters_are_too_many(tmp_path: Path) -> None:
    short = "moves: [{name: Tap}]\n"
    names = [f"c{at}" for at in range(201)]
    folder = write_pack(tmp_path, characters={name: f"id: {name}\n{short}" for name in names})
    assert faults_of(folder) == [("characters", "too-many-characters")]
    (folder / "characters" / "c200.yaml").unlink()
    assert len(load_pack(folder).pack.characters) == 200


@pytest.mark.parametrize(("count", "good"), [(400, True), (401, False)])
def test_400_moves_are_the_most(tmp_path: Path, count: int, good: bool) -> None:
    moves = "".join(f"  - {{name: Move {at}}}\n" for at in range(count))
    folder = write_pack(tmp_path, characters={"ash": f"id: ash\nmoves:\n{moves}"})
    if good:
        assert len(load_pack(folder).pack.characters["ash"].moves) == count
    else:
        assert faults_of(folder) == [("ash.yaml", "list-too-long")]


def test_a_file_over_the_size_limit(tmp_path: Path) -> None:
    big = CHARACTER + "#" * MAX_BYTES
    assert faults_of(write_pack(tmp_path, characters={"ash": big})) == [("ash.yaml", "file-too-large")]


def test_a_file_that_is_not_utf8(tmp_path: Path) -> None:
    folder = write_pack(tmp_path, characters={"ash": CHARACTER.replace("Ash", "\xc4sh").encode("latin-1")})
    assert faults_of(folder) == [("ash.yaml", "not-utf-8")]


def test_the_hash_is_of_the_data_alone(tmp_path: Path) -> None:
    first = load_pack(write_pack(tmp_path / "one")).pack.hash
    laid_out = "# a comment\n" + CHARACTER.replace("\n", "\r\n").replace("health: 180", "health:   180")
    again = load_pack(write_pack(tmp_path / "two", characters={"ash": laid_out})).pack.hash
    assert len(first) == 64
    assert again == first


@pytest.mark.parametrize(
    ("old", "new"),
    [("health: 180", "health: 181"), ("reach: close", "reach: 0.8"), ("name: Ash", "name: Esh")],
)
def test_the_hash_changes_with_the_data(tmp_path: Path, old: str, new: str) -> None:
    first = load_pack(write_pack(tmp_path / "one")).pack.hash
    changed = spoiled(CHARACTER, old, new)
    assert load_pack(write_pack(tmp_path / "two", characters={"ash": changed})).pack.hash != first


def test_the_hash_holds_the_pack_file_and_every_character(tmp_path: Path) -> None:
    bo = spoiled(CHARACTER, "id: ash", "id: bo")
    hashes = {
        load_pack(write_pack(tmp_path / "one")).pack.hash,
        load_pack(write_pack(tmp_path / "two", characters={"ash": CHARACTER, "bo": bo})).pack.hash,
        load_pack(write_pack(tmp_path / "three", spoiled(PACK, '"1.0"', '"1.1"'))).pack.hash,
    }
    assert len(hashes) == 3
