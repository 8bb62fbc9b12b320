"""Sheets of study sets, what the lab says in them, and the command."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import msgspec
import pytest
from click.testing import CliRunner, Result
from marked_pack import FILES, KNEE, library, page_of
from scipy.stats import beta

from advisor.clients.sheet import COMMANDS
from advisor.errors import AdvisorError, QuestionError, Unanswerable
from advisor.facts.question import Blocked
from advisor.library import load_library
from advisor.notebook import Entry, Notebook, Sets, Situation, Trial
from advisor.notebook.trial import Side
from advisor.sheets import Sheet, as_html, as_markdown, fighter_sheet, set_sheet
from advisor.sheets.model import Paragraph, Table
from advisor.studies import STUDIES

QUICK = {"quick": True, "pictures": False}


@pytest.fixture
def notebook(tmp_path: Path) -> Iterator[Notebook]:
    with Notebook(f"sqlite:///{tmp_path / 'notebook.sqlite'}") as made:
        yield made


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.delenv("ADVISOR_NOTEBOOK", raising=False)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    return tmp_path


def run(*words: str) -> Result:
    return CliRunner().invoke(COMMANDS["sheet"], words)


def trial(successes: int, tries: int, me: str = "ash", them: str = "birch") -> Trial:
    situation = Situation(
        pack="yard", me=Side(character=me), them=Side(character=them), moment=Blocked(attacker="them", move="knee"),
        distance=0.4,
    )  # fmt: skip
    pack = library().shelf("yard").pack.hash if me == "ash" else "older"
    return Trial(situation=situation, response="hook", successes=successes, tries=tries, pack_hash=pack)


def table(sheet: Sheet, title: str) -> Table:
    section = next(one for one in sheet.sections if one.title.startswith(title))
    return next(block for block in section.blocks if isinstance(block, Table))


def test_trials_stand_beside_theory_and_in_the_punish_table(notebook: Notebook) -> None:
    first = notebook.add(trial(3, 5))
    notebook.add(msgspec.structs.replace(trial(0, 5), corrects=first.id))
    notebook.add(trial(0, 7))
    notebook.add(trial(7, 7, me="birch", them="ash"))
    sheet = fighter_sheet(library(), "ash", "birch", notebook=notebook, **QUICK)
    rows = [row[3:] for row in table(sheet, "What was tested").rows]
    most, least = 100 * beta.ppf(0.95, 0.5, 12.5), 100 * beta.ppf(0.05, 7.5, 0.5)  # Jeffreys' prior, one-sided
    assert rows == [
        ["0 of 12", f"0 % to {most:.1f} %", "guaranteed", "contradicts theory; the lab decides: loses"],
        ["7 of 7", f"{least:.1f} % to 100 %", "guaranteed", "agrees or leaves it open; some on other data"],
    ]
    cell = {row[0]: row[3] for row in table(sheet, "Punishing Birch").rows}[KNEE]
    assert cell.startswith("Hook, 25\nframe 12 of 12") and cell.endswith("\nlab: 0 of 12")


def test_a_set_becomes_its_entries_in_order_then_its_match_ups(notebook: Notebook) -> None:
    sides = {"me": {"character": "ash"}, "them": {"character": "birch"}}
    asked = {**sides, "moment": {"kind": "blocked", "attacker": "them", "move": "knee"}, "distance": "touching"}
    entries = [
        Entry(name="b <i>first</i>", request=asked, note="a *note*"),
        Entry(name="a second", request={**sides, "distance": 0.4}, study="exposed"),
        Entry(name="gone", request={**asked, "moment": {"kind": "blocked", "attacker": "them", "move": "was"}}),
    ]
    Sets(notebook).put("tour | one", "of the <yard>", entries)
    sheet = set_sheet(library(), notebook, "tour | one", date="1 May", **QUICK)
    assert [one.title for one in sheet.sections[:4]] == [*(entry.name for entry in entries), "Next in the lab"]
    assert sheet.title == "tour | one" and sheet.lead == "of the <yard>"
    assert table(sheet, "b <i>").rows[0][:3] == ["Hook", "\N{EN DASH}", "guaranteed"]
    assert sheet.sections[0].blocks[0] == Paragraph("a *note*")
    assert [block.text for block in sheet.sections[2].blocks if isinstance(block, Paragraph)] == [
        "Not worked out: fighter `birch` has no move `was` in pack `yard` 1.0."
    ]  # fmt: skip
    usual = sheet.sections[4]
    assert usual.title.endswith("against Birch") and "Punishing Birch" in [one.title for one in usual.sections]
    page = page_of(as_html(sheet))
    assert "b <i>first</i>" in page.texts and not any(tag == "i" for tag, _ in page.tags)


def test_a_set_without_entries_or_that_is_none_is_refused(notebook: Notebook) -> None:
    Sets(notebook).add("bare")
    with pytest.raises(QuestionError, match="`bare` has no entries"):
        set_sheet(library(), notebook, "bare")
    with pytest.raises(AdvisorError, match="no set is called `bear`") as refused:
        set_sheet(library(), notebook, "bear")
    assert "bare" in refused.value.help


@pytest.mark.parametrize(
    ("me", "them", "pack", "pointer"),
    [("ahs", "birch", None, "/me"), ("ash", "brich", None, "/them"), ("ash", None, "yart", "/pack")],
)
def test_an_unknown_fighter_or_pack_is_refused(me: str, them: str | None, pack: str | None, pointer: str) -> None:
    with pytest.raises(Unanswerable) as refused:
        fighter_sheet(library(), me, them, pack=pack)
    assert refused.value.pointer == pointer
    assert "did you mean" in refused.value.help


@pytest.mark.parametrize(
    ("words", "said"),
    [(("wena",), "`ME`: pack `cold_frame` has no character `wena`"), ((), "neither ME nor `--set`"),
     (("wenna", "--set", "x"), "both given"), (("--set", "x", "--against", "marl"), "--against"),
     (("wenna", "--against", "mral"), "`--against`: pack"), (("--set", "x"), "`--set`: no set is called `x`")],
)  # fmt: skip
def test_what_the_command_cannot_do_is_refused(home: Path, words: tuple[str, ...], said: str) -> None:
    result = run(*words, "--engine", "plain")
    assert result.exit_code == 2
    assert said in result.stderr


def test_the_command_writes_the_file_that_is_named(home: Path) -> None:
    for name, text in FILES.items():
        (home / "yard" / name).parent.mkdir(parents=True, exist_ok=True)
        (home / "yard" / name).write_text(text, encoding="utf-8")
    words = ("birch", "--packs", str(home / "yard"), "--pack", "yard", "--quick", "--engine", "plain")
    page = run(*words)
    assert page.exit_code == 0 and page.stdout.startswith("<!DOCTYPE html>")
    out = home / "a b.md"
    written = run(*words, "--out", str(out))
    assert written.exit_code == 0 and f"{out}: " in written.stderr
    assert out.read_text(encoding="utf-8").startswith("# Birch\n")
    assert not (home / "data").exists(), "no notebook is made"
    missing = run(*words, "--out", str(home / "none" / "x.html"))
    assert missing.exit_code == 2 and "`--out`" in missing.stderr


@pytest.mark.full
def test_a_full_sheet_of_the_demo_has_its_pictures_and_loads_nothing(notebook: Notebook) -> None:
    demo = load_library(engine="plain")
    sheet = fighter_sheet(demo, "wenna", "marl", date="1 May")
    text = as_html(sheet)
    page = page_of(text)
    assert len(text.encode()) < 1_500_000
    tags = [tag for tag, _ in page.tags]
    assert tags.count("figure") >= 7 and not {"script", "link", "img", "iframe", "object"} & set(tags)
    ids = [attrs["id"] for _, attrs in page.tags if "id" in attrs]
    assert len(ids) == len(set(ids))
    pointed = {attrs["href"][1:] for _, attrs in page.tags if attrs.get("href", "").startswith("#")}
    assert pointed <= set(ids)
    written = as_markdown(sheet, "pictures")
    assert len(written.pictures) == tags.count("figure")
    assert all(f"](<pictures/{name}>)" in written.text for name in written.pictures)
    assert as_html(fighter_sheet(demo, "wenna", "marl", date="1 May")) == text


@pytest.mark.full
def test_every_study_has_its_section_in_a_set(notebook: Notebook) -> None:
    entries = [Entry(name=name, request=study.example, study=name) for name, study in STUDIES.items()]
    Sets(notebook).put("all", "", entries)
    sheet = set_sheet(load_library(engine="plain"), notebook, "all", quick=True)
    shown = {one.title: one for one in sheet.sections}
    for name in STUDIES:
        blocks = shown[name].blocks
        assert any(isinstance(block, Table) and block.rows for block in blocks), name
        assert not any(isinstance(block, Paragraph) and block.text.startswith("Not worked out") for block in blocks)
    assert len(as_html(sheet).encode()) < 1_500_000
