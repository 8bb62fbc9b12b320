"""Cells: each form takes what it says, and nothing that is not declared."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec import UNSET
from table_files import WORDS

from advisor.tables.cells import KEEP, CellReader, Refused, Taken
from advisor.tables.mapping import Column


def cell(text: str, property: str, *, decimal: str = "point", factor: float = 1.0, **keys: Any) -> Taken | Refused:
    column = Column(column="x", property=property, **keys)  # type: ignore[arg-type]
    return CellReader(column, WORDS, decimal=decimal, factor=factor).read(text)


N: dict[str, Any] = {"forms": ["number"]}
S: dict[str, Any] = {"forms": ["signed"]}


@pytest.mark.parametrize(
    ("text", "property", "keys", "value"),
    [
        ("12", "startup", N, 12),
        ("0", "on_block", S, 0),
        ("+3", "on_block", S, 3),
        ("-8", "on_block", S, -8),
        ("\u22128", "on_block", S, -8),
        ("3", "on_block", {"forms": ["signed", "number"]}, 3),
        ("1.25", "damage", N, 1.25),
        ("-0.5", "pushback", S, -0.5),
        ("13-14", "startup", {"forms": ["range"], "range": "first"}, 13),
        ("13~14", "startup", {"forms": ["range"], "range": "last"}, 14),
        ("13\u201314", "startup", {"forms": ["range"], "range": "unknown"}, UNSET),
        ("13-15", "active", {"forms": ["span"]}, 3),
        ("i13", "startup", {"forms": ["number", "prefixed"], "prefixes": ["i", "f"]}, 13),
        ("i13-14", "startup", {"forms": ["prefixed", "range"], "prefixes": ["i"], "range": "last"}, 14),
        ("+3~+5", "on_hit", {"forms": ["plus_range"], "plus_range": "lowest"}, 3),
        ("-8/-2", "on_hit", {"forms": ["plus_range"], "plus_range": "highest"}, -2),
        ("+3~+5", "on_hit", {"forms": ["plus_range"], "plus_range": "unknown"}, UNSET),
        ("held", "total", {"forms": ["number", "word"]}, "held"),
        ("far", "reach", {"forms": ["word"]}, "far"),
        ("F", "reach", {"forms": ["word"], "words": {"F": "far"}}, "far"),
        ("m", "level", {"words": {"m": "mid"}}, "mid"),
        ("hand hop", "tags", {}, ["hand", "hop"]),
        ("hand, hop", "tags", {"separator": ","}, ["hand", "hop"]),
        ("none", "tags", {}, "none"),
        ("n/a", "tags", {"not_available": ["n/a"], "not_available_means": "unknown"}, "unknown"),
        ("-", "startup", {**N, "not_available": ["-"], "not_available_means": "unknown"}, UNSET),
        ("", "startup", {**N, "blank": "unknown"}, UNSET),
        ("", "startup", {**N, "blank": "keep"}, KEEP),
        ("", "tracking", {"blank": "none"}, "none"),
        ("", "tracking", {"blank": "unknown"}, "unknown"),
        ("", "tracking", {"blank": "absent"}, UNSET),
    ],
)
def test_what_is_declared_is_taken(text: str, property: str, keys: dict[str, Any], value: object) -> None:
    assert cell(text, property, **keys) == Taken(value)


@pytest.mark.parametrize(
    ("text", "property", "keys", "help"),
    [
        ("", "startup", N, "`blank`"),
        ("+3", "on_block", N, "`signed` would take it"),
        ("3", "on_block", S, "`number` would take it"),
        ("-3", "startup", N, "`number` (12)"),
        ("13-14", "startup", N, "`number` (12)"),
        ("i13", "startup", N, ""),
        ("x13", "startup", {"forms": ["prefixed"], "prefixes": ["i"]}, ""),
        ("14-13", "startup", {"forms": ["range"], "range": "first"}, "`13-14`"),
        ("13-14", "startup", {"forms": ["range"], "range": "refuse"}, "one number"),
        ("1,5", "damage", N, ""),
        ("1.5", "startup", N, ""),
        ("0", "active", N, "from 1"),
        ("99999", "startup", N, "to 9999"),
        ("-8 (jump)", "on_block", S, ""),
        ("-8 (jump)", "on_block", {"forms": ["signed", "suffixed"], "suffix": "refuse"}, ""),
        ("-8 hpo", "on_block", {"forms": ["signed", "suffixed"], "suffix": "tag", "suffix_tags": {"hop": "hop"}},
         "did you mean `hop`?"),
        ("midd", "level", {}, "did you mean `mid`?"),
        ("m", "level", {"words": {"m": "mitte"}}, "`words`"),
        ("hand hand", "tags", {}, "once"),
        ("hand none", "tags", {}, "alone"),
        ("\u0661\u0662", "startup", N, ""),
        ("1e3", "damage", N, ""),
        ("nan", "damage", N, ""),
        ("12 ", "startup", N, ""),
    ],
)  # fmt: skip
def test_what_is_not_declared_is_refused(text: str, property: str, keys: dict[str, Any], help: str) -> None:
    found = cell(text, property, **keys)
    assert isinstance(found, Refused)
    assert help in found.help


@pytest.mark.parametrize("text", ["-8 (jump)", "-8 [jump]", "-8 jump", "-8jump", "-8 ( jump )"])
def test_what_stands_behind_goes_where_it_is_declared(text: str) -> None:
    forms = {"forms": ["signed", "suffixed"]}
    assert cell(text, "on_block", suffix="note", **forms) == Taken(-8, note="on_block: jump")
    assert cell(text, "on_block", suffix="drop", **forms) == Taken(-8, dropped="jump")
    assert cell(text, "on_block", suffix="tag", suffix_tags={"jump": "hop"}, **forms) == Taken(-8, tag="hop")


def test_decimal_comma_and_factor() -> None:
    assert cell("1,5", "reach", decimal="comma", factor=0.01, **N) == Taken(0.015)
    assert cell("150", "reach", factor=0.01, **N) == Taken(1.5)
    assert cell("150", "damage", factor=0.01, **N) == Taken(150)
    assert isinstance(cell("1.5", "reach", decimal="comma", **N), Refused)


@given(st.text(max_size=12), st.sampled_from(["startup", "on_block", "reach", "active"]))
def test_any_text_is_a_number_in_bounds_or_refused(text: str, property: str) -> None:
    keys: dict[str, Any] = {"forms": ["number"], "blank": "unknown"}
    found = cell(text, property, **keys)
    if isinstance(found, Taken) and text:
        assert found.value == float(text)
        assert text.replace(".", "", 1).isdigit() and text.isascii()


@given(st.integers(-9999, 9999))
def test_signed_numbers_are_read_as_python_reads_them(number: int) -> None:
    text = f"{number:+d}" if number else "0"
    assert cell(text, "on_block", **S) == Taken(number)
