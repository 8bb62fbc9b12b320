"""Every fault of a pack: spoiled text in; code, line and path out."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from advisor.errors import DataError, Finding
from advisor.pack.load import load_pack
from tests.unit.pack.fault_cases import CASES, C, Case, P
from tests.unit.pack.pack_folder import CHARACTER, PACK, spoiled, write_pack

# Words of the tools underneath, which an author of a pack does not know.
FOREIGN = re.compile(
    r"\b(?:int|str|float|bool|dict|NoneType|None|True|False|object|array|Expected|Struct|Traceback)\b|\$\.|\[a-z\]"
)


def findings_of(folder: Path) -> tuple[Finding, ...]:
    with pytest.raises(DataError) as caught:
        load_pack(folder)
    return caught.value.findings


def spoil(case: Case) -> tuple[str, str]:
    pack = spoiled(PACK, case.old, case.new) if case.file == P else PACK
    return pack, spoiled(CHARACTER, case.old, case.new) if case.file == C else CHARACTER


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_each_fault_is_told_with_its_place(case: Case, tmp_path: Path) -> None:
    pack, character = spoil(case)
    folder = write_pack(tmp_path, pack, {"ash": character})
    found = [one for one in findings_of(folder) if one.severity == "error"]
    place = [(one.code, one.line, one.path) for one in found]
    assert (case.code, case.line, case.path) in place
    match = found[place.index((case.code, case.line, case.path))]
    assert match.file == str(folder / case.file)
    assert match.column >= 1
    assert case.help in match.help
    for one in found:
        assert not FOREIGN.search(f"{one.message} {one.help}"), one.shown()
        assert "\n" not in one.message
        assert len(one.message) < 400


SINGLE = {"missing levels", "missing moves", "unknown pack key", "file is not the id"}


@pytest.mark.parametrize("case", [one for one in CASES if one.name not in SINGLE], ids=lambda case: case.name)
def test_one_fault_is_not_told_twice(case: Case, tmp_path: Path) -> None:
    pack, character = spoil(case)
    found = findings_of(write_pack(tmp_path, pack, {"ash": character}))
    places = [(one.file, one.path, one.code) for one in found if one.severity == "error"]
    assert len(set(places)) == len(places)


def test_the_spoiled_texts_are_good_before(tmp_path: Path) -> None:
    assert load_pack(write_pack(tmp_path)).warnings == ()


def test_all_faults_of_all_files_come_at_once(tmp_path: Path) -> None:
    character = CHARACTER
    chosen = [
        case
        for case in CASES
        if case.file == C
        and case.name
        in {
            "unknown key", "text for a number", "active below 1", "unknown distance", "unknown throw break",
            "window past the total", "hits overlap", "unknown key move", "window reversed", "text for a list",
            "unknown follow-up",
        }
    ]  # fmt: skip
    for case in chosen:
        character = spoiled(character, case.old, case.new)
    pack = spoiled(PACK, "format: 1\n", "")
    pack = spoiled(pack, "blocked_by: [crouching]", "blocked_by: [crouching, 5]")
    folder = write_pack(tmp_path, pack, {"ash": character, "bo": "id: bo\nmoves: [", "cy": "id: cy\n"})
    found = {(Path(one.file).name, one.code, one.path) for one in findings_of(folder)}
    expected = {("ash.yaml", case.code, case.path) for case in chosen}
    expected |= {
        ("pack.yaml", "key-missing", ""),
        ("pack.yaml", "type-wrong", "levels.low.blocked_by[1]"),
        ("bo.yaml", "not-yaml", ""),
        ("cy.yaml", "key-missing", ""),
    }
    assert found == expected


def test_more_faults_than_are_printed_are_still_carried(tmp_path: Path) -> None:
    moves = "".join(f"  - {{name: Move {at}, active: 0}}\n" for at in range(300))
    folder = write_pack(tmp_path, characters={"ash": f"id: ash\nmoves:\n{moves}"})
    assert len(findings_of(folder)) == 300


def test_a_fault_in_one_move_does_not_make_faults_in_others(tmp_path: Path) -> None:
    character = spoiled(CHARACTER, "{id: sweep, name: Low Sweep", "{id: sweep, name: 5")
    (only,) = findings_of(write_pack(tmp_path, characters={"ash": character}))
    assert (only.code, only.path) == ("type-wrong", "moves[1].name")


def test_a_broken_pack_file_makes_no_faults_about_its_words(tmp_path: Path) -> None:
    (only,) = findings_of(write_pack(tmp_path, "format: ["))
    assert (only.code, Path(only.file).name) == ("not-yaml", "pack.yaml")


def test_the_circle_is_named(tmp_path: Path) -> None:
    character = spoiled(CHARACTER, "reach: close", "reach: close, follow_ups: [{move: tap, begins: 20}]")
    (only,) = findings_of(write_pack(tmp_path, characters={"ash": character}))
    assert only.message == "follow-ups run in a circle: `tap`, `sweep`, `tap`"


def test_disagreeing_totals_name_every_number(tmp_path: Path) -> None:
    character = spoiled(CHARACTER, "recovery: 20", "recovery: 20, total: 40")
    (only,) = findings_of(write_pack(tmp_path, characters={"ash": character}))
    assert re.findall(r"\d+", only.message) == ["40", "16", "3", "20", "38"]
