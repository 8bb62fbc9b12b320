"""Sheets in the language that is spoken: every head and label of them is said."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any, get_args

import msgspec
import pytest

from advisor.library import Library
from advisor.notebook import Entry, Notebook, Sets
from advisor.pack.model import Hit, Move
from advisor.pictures.look import VERDICTS
from advisor.sentences import speaking
from advisor.service.weighing.tasks import TASKS
from advisor.sheets import Sheet, as_html, as_markdown, fighter_sheet, set_sheet
from advisor.sheets.cells import SAID, word
from advisor.sheets.model import Section, Table
from advisor.studies import STUDIES
from advisor.studies.baits_model import Result
from advisor.studies.beats import WHEN
from advisor.studies.strings_answer import Contact
from tests.unit.advice.demo import shelf
from tests.unit.sentences.pseudo_language import places_only, unsaid

FIELDS = {name.replace("_", " ").capitalize() for name in (*Hit.__struct_fields__, *Move.__struct_fields__)}
"""Heads that are words of the pack's form as well."""
QUICK: dict[str, Any] = {"quick": True, "pictures": False}


def demo() -> Library:
    return Library(shelves={shelf().pack.id: shelf()}, default=shelf().pack.id)


def parts(sections: list[Section]) -> Iterator[Section | Table]:
    for section in sections:
        yield section
        yield from (block for block in section.blocks if isinstance(block, Table))
        yield from parts(section.sections)


def unsaid_labels(sheet: Sheet) -> list[str]:
    """Titles, captions, units, heads and labels that no sentence said, but for names and inputs of the pack."""
    found = [sheet.lead, *sheet.cautions, *(label for label, _ in sheet.about)]
    for part in parts(sheet.sections):
        found += [part.title] if isinstance(part, Section) else [part.caption, part.units]
        for column in part.columns if isinstance(part, Table) else ():
            found += [column.name, *([column.unit] if column.unit != "%" else [])]
    return [text for text in found if "[[" not in text and (unsaid(text) or text in FIELDS)]


def unsaid_texts(value: Any) -> list[str]:
    """Any text at all with a word in it that is neither said nor the pack's."""
    if isinstance(value, msgspec.Struct):
        fields = set(value.__struct_fields__) - {"light", "dark", "key", "language"}
        value = [getattr(value, name) for name in sorted(fields)]
    if isinstance(value, list | tuple):
        return [text for part in value for text in unsaid_texts(part)]
    return [value] if isinstance(value, str) and unsaid(value) else []


@pytest.mark.parametrize("them", ["marl", None])
def test_every_label_of_a_sheet_is_said(them: str | None) -> None:
    with places_only():
        sheet = fighter_sheet(demo(), "wenna", them, date="1", **QUICK)
        page, text = as_html(sheet), as_markdown(sheet).text
    assert len(list(parts(sheet.sections))) > 12
    assert unsaid_labels(sheet) == []
    assert unsaid_texts(msgspec.structs.replace(sheet, about=[])) == []
    assert "Units" not in page + text and "Contents" not in page
    assert page.startswith('<!DOCTYPE html>\n<html lang="xx">')


@pytest.mark.full
def test_every_word_of_a_sheet_of_every_study_is_said(tmp_path: Path) -> None:
    bounds: dict[str, dict[str, Any]] = {"setups": {"length": 2, "bound": 20_000}, "round": {"steps": 3}}
    with Notebook(f"sqlite:///{tmp_path / 'notebook.sqlite'}") as notebook:
        made = Sets(notebook)
        made.add("all")
        made.add_entry("all", Entry(name="[[0]]", request=TASKS["advice"].example))
        for n, name in enumerate(STUDIES, 1):
            request = {**TASKS[name].example, **bounds.get(name, {})}
            made.add_entry("all", Entry(name=f"[[{n}]]", study=name, request=request))
        with places_only():
            sheet = msgspec.structs.replace(set_sheet(demo(), notebook, "all", quick=True), title="", about=[])
    assert sum(isinstance(part, Table) for part in parts(sheet.sections)) > 20
    assert unsaid_labels(sheet) == []
    ids = re.compile("|".join(STUDIES))
    assert [text for text in unsaid_texts(sheet) if unsaid(ids.sub("", text))] == [], "but for the ids of studies"


def test_a_german_sheet_is_german() -> None:
    with speaking("de"):
        sheet = fighter_sheet(demo(), "wenna", "marl", date="1", **QUICK)
        page = as_html(sheet)
    assert [label for label, _ in sheet.about] == ["Datum", "Spiel", "Daten", "Regeln"]
    assert sheet.sections[0].title == "Wichtige Moves von Wenna Pallister"
    table = next(part for part in parts(sheet.sections) if isinstance(part, Table))
    assert [table.columns[at].name for at in (0, 1, 3, 5)] == ["Move", "Eingabe", "Erster", "Schaden"]
    assert "<small>Einheiten: Frames; Schaden in Punkten; " in page and '<html lang="de">' in page


def test_words_that_cells_say_are_translated() -> None:
    """The pseudo language takes any word; a real one those that are marked."""
    said = [*SAID, *WHEN, *VERDICTS, *get_args(Contact), *get_args(Result)]
    with speaking("de"):
        assert [one for one in said if word(one) == one.replace("_", " ")] == []
