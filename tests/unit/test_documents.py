"""The strict YAML dialect: what values become, what is refused and where."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
import yaml

from advisor import documents
from advisor.documents import MAX_DEPTH, MAX_KEY, parse_document, read_document, shown_path
from advisor.errors import DataError, Finding


def value_of(text: str) -> Any:
    return parse_document(text.encode(), "file").value


def faults_of(raw: bytes) -> list[Finding]:
    with pytest.raises(DataError) as caught:
        parse_document(raw, "file")
    return list(caught.value.findings)


@pytest.mark.parametrize(
    ("written", "value"),
    [
        ("12", 12), ("-7", -7), ("+3", 3), ("0", 0), ("-0", 0), ("1.50", 1.5), ("-0.5", -0.5), ("+0.5", 0.5),
        ("true", True), ("false", False), ("null", None), ("~", None), ("", None),
        # What other dialects turn into something else stays text.
        ("True", "True"), ("yes", "yes"), ("no", "no"), ("on", "on"), ("off", "off"), ("y", "y"),
        ("012", "012"), ("0x10", "0x10"), ("1_000", "1_000"), ("1e5", "1e5"), ("1:30", "1:30"), (".5", ".5"),
        ("5.", "5."), ("2024-01-01", "2024-01-01"), ("=", "="), ("9" * 17, "9" * 17),
        ("'12'", "12"), ('"true"', "true"), ("''", ""), ("held", "held"),
    ],
)  # fmt: skip
def test_scalars(written: str, value: object) -> None:
    got = value_of(f"key: {written}\n")["key"]
    assert (got, type(got)) == (value, type(value))


def test_keys_are_text() -> None:
    assert value_of("on: 1\n12: 2\ntrue: 3\nnull: 4\n'': 5\n") == {
        "on": 1,
        "12": 2,
        "true": 3,
        "null": 4,
        "": 5,
    }


def test_collections() -> None:
    text = "a: [1, {b: [2]}]\nc:\n  - d\n  - e: {}\n    f: []\n"
    assert value_of(text) == {"a": [1, {"b": [2]}], "c": ["d", {"e": {}, "f": []}]}


@pytest.mark.parametrize("text", ["", "# only a comment\n", "---\n", "null\n"])
def test_nothing_is_nothing(text: str) -> None:
    assert value_of(text) is None


def test_a_byte_order_mark_is_no_content() -> None:
    assert parse_document(b"\xef\xbb\xbfa: 1\n", "file").value == {"a": 1}


@pytest.mark.parametrize(
    ("raw", "code", "line", "column"),
    [
        (b"a: 1\nb: 2\na: 3\n", "key-duplicate", 3, 1),
        (b"a: {b: 1, b: 2}\n", "key-duplicate", 1, 11),
        (b"a: 1\nb: &x 2\n", "anchor-refused", 2, 4),
        (b"a: *x\n", "alias-refused", 1, 4),
        (b"*x : 1\n", "alias-refused", 1, 1),
        (b"a: !!str 1\n", "tag-refused", 1, 4),
        (b"a: !!python/object:os.system {}\n", "tag-refused", 1, 4),
        (b"a: 1\n---\nb: 2\n", "several-documents", 2, 1),
        (b"a: .nan\n", "not-finite", 1, 4),
        (b"a: [1, -.INF]\n", "not-finite", 1, 8),
        (b"a: nan\n", "not-finite", 1, 4),
        (b"a: b\nc: \xff\n", "not-utf-8", 2, 4),
        (b"a: b\nc: x\x07\n", "control-character", 2, 5),
        (b"a: \x00\n", "control-character", 1, 4),
        (b"a: " + "\ufffe".encode(), "control-character", 1, 4),
        (b"? [a]\n: 1\n", "key-not-text", 1, 3),
        (b"? {a: b}\n: 1\n", "key-not-text", 1, 3),
        (b"? |\n  a\n  b\n: 1\n", "key-not-text", 1, 3),
        (b'"a\\u0007": 1\n', "key-not-text", 1, 1),
        (b"x" * (MAX_KEY + 1) + b": 1\n", "key-not-text", 1, 1),
        (b"a: b: c\n", "not-yaml", 1, 5),
        (b"a: @b\n", "not-yaml", 1, 4),
        (b"a:\n\tb: 1\n", "not-yaml", 2, 1),
        (b"a: [1\n", "not-yaml", 2, 1),
        (b'a: "\\ud800"\n', "not-yaml", 1, 7),
        (b"a: " + b"[" * (MAX_DEPTH + 1), "too-deep", 1, 3 + MAX_DEPTH),
        (b"- " * (MAX_DEPTH + 1), "too-deep", 1, 2 * MAX_DEPTH + 1),
    ],
)
def test_refused(raw: bytes, code: str, line: int, column: int) -> None:
    found = faults_of(raw)
    assert (code, line, column) in [(one.code, one.line, one.column) for one in found]
    assert all(one.file == "file" for one in found)


def test_the_deepest_nesting_that_is_taken() -> None:
    assert value_of("a: " + "[" * (MAX_DEPTH - 1) + "]" * (MAX_DEPTH - 1))


def test_several_faults_come_together() -> None:
    found = faults_of(b"a: &x 1\nb: .nan\na: 2\nc: !t 3\n")
    assert [(one.code, one.line) for one in found] == [
        ("anchor-refused", 1), ("not-finite", 2), ("key-duplicate", 3), ("tag-refused", 4),
    ]  # fmt: skip


def test_half_a_surrogate_pair_is_refused_by_the_slow_parser_too(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(documents, "_LOADER", yaml.SafeLoader)
    assert [one.code for one in faults_of(b'a: "\\ud800"\n')] == ["not-utf-8"]
    assert value_of("a: [1, {b: +2}]\n") == {"a": [1, {"b": 2}]}


def test_where_values_and_keys_stand() -> None:
    document = parse_document(b"a: 1\nlist:\n  - {id: x, f: [1, held]}\n  -\n    id: y\n", "file")
    assert document.where(("a",)) == (1, 4)
    assert document.where(("list",)) == (3, 3)
    assert document.where(("list",), key=True) == (2, 1)
    assert document.where(("list", 0, "f", 1)) == (3, 20)
    assert document.where(("list", 0, "f"), key=True) == (3, 13)
    assert document.where(("list", 1, "id")) == (5, 9)
    assert document.where(("list", 1, "no", 3)) == (5, 5)
    assert document.where(("nowhere",)) == (1, 1)
    assert document.where(()) == (1, 1)


def test_a_finding_has_file_line_column_and_path() -> None:
    document = parse_document(b"list:\n  - {id: x}\n", "some/file.yaml")
    found = document.finding("code", "message", ("list", 0, "id"), help="help", severity="warning")
    shown = "some/file.yaml:2:10: warning[code] at `list[0].id`: message\n    help: help"
    assert found.shown() == shown


def test_paths_are_shown_as_people_write_them() -> None:
    assert shown_path(("moves", 3, "parry", 0, "frames")) == "moves[3].parry[0].frames"
    assert shown_path(()) == ""


def test_reading_a_file(tmp_path: Path) -> None:
    path = tmp_path / "a.yaml"
    path.write_bytes(b"a: 1\n")
    assert read_document(path).file == str(path)
    assert read_document(path, name="a").file == "a"


@pytest.mark.parametrize("size", [10, 11])
def test_a_file_over_the_limit_is_not_read(tmp_path: Path, size: int) -> None:
    path = tmp_path / "a.yaml"
    path.write_bytes(b"a: 1" + b" " * (size - 4))
    if size <= 10:
        assert read_document(path, max_bytes=10).value == {"a": 1}
        return
    with pytest.raises(DataError) as caught:
        read_document(path, max_bytes=10)
    assert [one.code for one in caught.value.findings] == ["file-too-large"]


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(DataError) as caught:
        read_document(tmp_path / "no.yaml")
    (only,) = caught.value.findings
    assert (only.code, only.line, only.column) == ("file-unreadable", 1, 1)
