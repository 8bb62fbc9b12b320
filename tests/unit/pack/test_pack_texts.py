"""A pack given as text by path: what its folder gives, and paths that lead elsewhere."""

from __future__ import annotations

from pathlib import Path

import msgspec
import pytest

from advisor.errors import DataError, Finding
from advisor.library import load_shelf, load_shelf_files
from advisor.pack.files import MAX_STRAYS
from advisor.pack.load import load_pack, load_pack_files
from tests.unit.pack.fault_cases import CASES, C, P
from tests.unit.pack.pack_folder import CHARACTER, PACK, spoiled, write_pack

TEXTS = {P: PACK, C: CHARACTER}
RULE = """\
id: yard/quick
title: A quick one
scope: exchange
status: stable
why: An example.
when:
  - {fact: exchange.gap, is: 0}
conclude: {tags: [no_gap]}
because: "{theirs.name} leaves a gap of {exchange.gap}."
"""


def faults(files: dict[str, str], label: str | None = None) -> tuple[Finding, ...]:
    with pytest.raises(DataError) as caught:
        load_pack_files(files, label=label)
    return caught.value.findings


def test_texts_give_the_pack_that_their_folder_gives(tmp_path: Path) -> None:
    assert load_pack_files(TEXTS, label="kiln") == load_pack(write_pack(tmp_path))


def test_faults_are_told_as_in_a_folder_by_their_relative_path(tmp_path: Path) -> None:
    for number, case in enumerate(CASES[::4]):
        files = {**TEXTS, case.file: spoiled(TEXTS[case.file], case.old, case.new)}
        folder = write_pack(tmp_path / str(number), files[P], {"ash": files[C]})
        with pytest.raises(DataError) as caught:
            load_pack(folder)
        theirs = [msgspec.structs.replace(f, file=f.file.removeprefix(f"{folder}/")) for f in caught.value.findings]
        assert list(faults(files, "kiln")) == theirs, case.name


@pytest.mark.parametrize(
    ("path", "code"),
    [
        ("/etc/x.yaml", "file-outside"), ("../kiln/pack.yaml", "file-outside"), ("rules/../../x.yaml", "file-outside"),
        ("characters\\bo.yaml", "file-outside"), ("c:/bo.yaml", "file-outside"), ("", "file-outside"),
        ("./pack.yaml", "file-unexpected"), ("characters/bo.yml", "file-unexpected"), ("bo.yaml", "file-unexpected"),
        ("characters/deep/bo.yaml", "file-unexpected"), ("characters/bo.yaml\n", "file-unexpected"),
        ("rules//x.yaml", "file-unexpected"), ("rules/.x.yaml", "file-unexpected"), ("\udc80.yaml", "file-unexpected"),
        ("characters/" + "b" * 5000 + ".yaml", "file-unexpected"),
    ],
)  # fmt: skip
def test_paths_that_no_file_of_a_pack_has(path: str, code: str) -> None:
    (only,) = faults({**TEXTS, path: CHARACTER})
    assert (only.code, only.line, only.severity) == (code, 1, "error")
    assert only.help and len(only.file) <= 120
    msgspec.json.encode(only)


def test_strays_are_counted_past_a_hundred_and_read_files_are_checked_beside_them() -> None:
    found = faults({P: PACK, **{f"{n}.txt": "" for n in range(MAX_STRAYS + 7)}})
    assert [one.message for one in found if one.file == ""] == ["and 7 more paths that are none of a pack"]
    assert "characters-missing" in {one.code for one in found}
    assert len(found) == MAX_STRAYS + 2


def test_what_is_missing_and_text_that_is_none() -> None:
    assert [(one.file, one.code) for one in faults({})] == [
        ("characters", "characters-missing"), ("pack.yaml", "file-missing"),
    ]  # fmt: skip
    assert [(one.file, one.code) for one in faults({P: PACK, C: "id: \udc80"})] == [(C, "not-utf-8")]


def test_the_label_is_what_the_id_has_to_be() -> None:
    assert load_pack_files(TEXTS).pack.id == "kiln"
    (only,) = faults(TEXTS, "klin")
    assert (only.file, only.code) == (P, "id-not-place")


def test_rules_among_the_texts_hold_as_in_a_folder(tmp_path: Path) -> None:
    folder = write_pack(tmp_path)
    (folder / "rules" / "yard").mkdir(parents=True)
    (folder / "rules" / "yard" / "quick.yaml").write_text(RULE)
    theirs = load_shelf(folder, engine="plain")
    ours = load_shelf_files({**TEXTS, "rules/yard/quick.yaml": RULE}, engine="plain")
    assert (ours.pack, ours.rules.hash) == (theirs.pack, theirs.rules.hash)
    assert ours.rules.hash != load_shelf_files(TEXTS, engine="plain").rules.hash
    with pytest.raises(DataError) as caught:
        load_shelf_files({**TEXTS, "rules/yard/slow.yaml": RULE, "rules/yard/quick.yaml": RULE + "wehn: []\n"})
    assert {one.file for one in caught.value.findings} == {"rules/yard/slow.yaml", "rules/yard/quick.yaml"}
    assert "/tmp" not in str(caught.value)
