"""Mapping files: every fault at once, each on its line, with what would be right."""

from __future__ import annotations

from pathlib import Path

import pytest
from table_files import HEAD

from advisor.errors import DataError, Finding
from advisor.tables.mapping import read_mapping


def faults(folder: Path, text: str) -> tuple[Finding, ...]:
    path = folder / "m.yaml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(DataError) as caught:
        read_mapping(path)
    return caught.value.findings


def test_a_mapping_without_faults_is_read(tmp_path: Path) -> None:
    path = tmp_path / "m.yaml"
    path.write_text(HEAD, encoding="utf-8")
    assert read_mapping(path).columns[0].property == "id"


@pytest.mark.parametrize(
    ("column", "code", "help"),
    [
        ("{column: a, property: startupp, forms: [number]}", "", "did you mean `startup`?"),
        ("{column: a, propperty: startup}", "", "did you mean `property`?"),
        ("{column: a, property: startup}", "forms-missing", "`number`"),
        ("{column: a, property: startup, forms: [signed]}", "form-misplaced", "`number`"),
        ("{column: a, property: startup, forms: [span]}", "form-misplaced", "`range`"),
        ("{column: a, property: level, forms: [number]}", "form-misplaced", "leave `forms` out"),
        ("{column: a, property: startup, forms: [prefixed]}", "mapping-undecided", ""),
        ("{column: a, property: startup, forms: [range]}", "mapping-undecided", ""),
        ("{column: a, property: on_hit, forms: [plus_range]}", "mapping-undecided", ""),
        ("{column: a, property: on_hit, forms: [suffixed]}", "mapping-undecided", ""),
        ("{column: a, property: on_hit, forms: [suffixed], suffix: tag}", "mapping-undecided", ""),
        ("{column: a, property: startup, forms: [number], range: first}", "mapping-idle", ""),
        ("{column: a, property: startup, forms: [number], blank: none}", "mapping-no-none", "`unknown`"),
        ("{column: a, property: startup, forms: [number], words: {x: y}}", "mapping-idle", ""),
        ("{column: a, property: level, not_available: [x]}", "mapping-undecided", ""),
        ("{column: a, property: id}", "mapping-twice", "keep one"),
        ("{column: id, property: name}", "mapping-twice", "keep one"),
    ],
)
def test_faults_of_a_column_are_on_its_line(tmp_path: Path, column: str, code: str, help: str) -> None:
    found = faults(tmp_path, f"{HEAD}  - {column}\n")
    assert {one.line for one in found} == {6}
    assert any(code in one.code and help in one.help for one in found)


@pytest.mark.parametrize(
    ("old", "new", "line", "help"),
    [
        ("startup_counts: first_active", "startup_counts: decide", 3, "touches on frame 11"),
        ('delimiter: ",", ', "", 2, "`tab`"),
        ("encoding: utf-8", "encoding: decide", 2, "`latin-1`"),
        ("encoding: utf-8", "encoding: utf-8, sheet: x", 2, "take it out"),
        ("form: csv", "form: xlsx", 2, "take it out"),
        ("property: id", "property: note", 5, "one of them"),
        ("format: 1\n", "format: 1\nignore: [id]\n", 2, ""),
    ],
)
def test_faults_of_the_rest(tmp_path: Path, old: str, new: str, line: int, help: str) -> None:
    found = faults(tmp_path, HEAD.replace(old, new))
    assert any(one.line == line and help in one.help for one in found)


def test_the_startup_convention_is_never_assumed(tmp_path: Path) -> None:
    (found,) = faults(tmp_path, HEAD.replace("startup_counts: first_active\n", ""))
    assert "startup_counts" in found.message


def test_all_faults_come_at_once(tmp_path: Path) -> None:
    text = HEAD.replace("utf-8", "decide") + "  - {column: a, property: startup}\n  - {column: b, property: chip}\n"
    assert [one.code for one in faults(tmp_path, text)] == ["mapping-undecided", "forms-missing", "forms-missing"]
