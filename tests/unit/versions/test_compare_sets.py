"""A study set of the notebook asked of two versions: its questions and its studies."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import msgspec
import pytest
from click.testing import CliRunner

from advisor.clients.versions import compare_
from advisor.errors import QuestionError
from advisor.library import load_shelf_files
from advisor.notebook import Entry, Notebook, Sets
from advisor.notebook.rerun import differences
from advisor.studies import STUDIES
from advisor.versions import Comparison, Consequence, StudyBefore, changed_studies, compare
from advisor.versions.studied import _at_stake
from tests.unit.advice.demo import FOLDER, shelf

EXPOSED = {
    "me": {"character": "marl"}, "them": {"character": "wenna"}, "distance": "touching", "moves": ["poker_thrust"],
}  # fmt: skip
PARRIES = {"me": {"character": "wenna"}, "them": {"character": "ilko"}, "parry": "set_pane"}
POKER = {
    "me": {"character": "wenna"}, "them": {"character": "marl"}, "distance": "touching",
    "moment": {"kind": "blocked", "attacker": "them", "move": "poker_thrust"},
}  # fmt: skip
WORSE = ("{id: poker_thrust", "on_block: -9", "on_block: -13")


def texts(spoil: tuple[str, str, str] | None = WORSE) -> dict[str, str]:
    """The demo pack in memory, with one edit of marl's file."""
    files = {path.relative_to(FOLDER).as_posix(): path.read_text(encoding="utf-8") for path in FOLDER.rglob("*.yaml")}
    if spoil is not None:
        at, old, new = spoil
        marl = files["characters/marl.yaml"]
        place = marl.index(old, marl.index(at))
        files["characters/marl.yaml"] = marl[:place] + new + marl[place + len(old):]
    return files


def changed(*asked: StudyBefore, spoil: tuple[str, str, str] | None = WORSE) -> list[Consequence]:
    new = load_shelf_files(texts(spoil), engine="plain").pack
    return list(changed_studies(shelf().pack, new, shelf().rules, shelf().evaluator, asked, differences))


def test_a_set_of_the_notebook_is_asked_of_both_and_ranked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("ADVISOR_NOTEBOOK", f"sqlite:///{tmp_path / 'n.sqlite'}")
    saved = [
        Entry(name="poker", request=POKER), Entry(name="mine", study="exposed", request=EXPOSED),
        Entry(name="pane", study="parries", request=PARRIES),
    ]  # fmt: skip
    with Notebook(f"sqlite:///{tmp_path / 'n.sqlite'}") as notebook:
        Sets(notebook).put("lab", "", saved)
    folder = tmp_path / FOLDER.name
    shutil.copytree(FOLDER, folder)
    (folder / "characters" / "marl.yaml").write_text(texts()["characters/marl.yaml"], encoding="utf-8")
    words = [str(FOLDER), str(folder), "--engine", "plain", "--json"]
    told = CliRunner().invoke(compare_, [*words, "--set", "lab"])
    assert told.exit_code == 1, told.output
    found = msgspec.json.decode(told.stdout, type=Comparison)
    assert {one.id for one in found.consequences if one.kind == "answer"} == {"poker", "mine"}
    weights = [one.weight for one in found.consequences]
    assert weights == sorted(weights, reverse=True)
    without = msgspec.json.decode(CliRunner().invoke(compare_, words).stdout, type=Comparison)
    assert [one for one in found.consequences if one.kind != "answer"] == without.consequences
    missing = CliRunner().invoke(compare_, [*words[:-1], "--set", "lib"])
    assert missing.exit_code == 2 and "did you mean `lab`?" in missing.stderr


def test_a_study_weighs_as_much_as_its_worst_changed_row() -> None:
    (row,) = changed(StudyBefore(name="mine", study="exposed", request=EXPOSED))
    asked = msgspec.convert(EXPOSED, STUDIES["exposed"].request)
    was, now = (one.study("exposed", asked) for one in (shelf(), load_shelf_files(texts(), engine="plain")))
    assert (row.before, row.after) == (was.summary, now.summary)
    assert row.weight == row.damage == max(_damages(msgspec.to_builtins(now))) > 0
    assert (row.kind, row.character, row.opponents) == ("answer", "marl", 1)
    assert "mine (exposed): " in row.sentence and " -> " in row.sentence


def test_what_did_not_change_is_silent_and_what_can_no_longer_be_asked_is_told() -> None:
    assert changed(StudyBefore(name="mine", study="exposed", request=EXPOSED), spoil=None) == []
    renamed = {name: text.replace("poker_thrust", "poker_push") for name, text in texts(None).items()}
    old, new = shelf().pack, load_shelf_files(renamed, engine="plain").pack
    asked = [StudyBefore(name="mine", study="exposed", request={**EXPOSED, "pack": "elsewhere"})]
    (row,) = changed_studies(old, new, shelf().rules, shelf().evaluator, asked, differences)
    assert "no answer (" in row.after and "poker_thrust" in row.after
    assert "no answer" not in row.before
    ranked = compare(old, old, shelf().rules, shelf().evaluator, also=[row])
    assert ranked.consequences == [row] and not ranked.same


@pytest.mark.parametrize(
    ("study", "request_", "said"),
    [("exposd", EXPOSED, "no study is called"), ("exposed", {"me": 3}, "the request of `mine`")],
)
def test_an_entry_that_is_no_study_is_refused(study: str, request_: dict[str, Any], said: str) -> None:
    with pytest.raises(QuestionError, match=said):
        changed(StudyBefore(name="mine", study=study, request=request_), spoil=None)


def test_rows_that_only_moved_or_are_worded_anew_have_nothing_at_stake() -> None:
    rows = [{"id": "a", "damage": 40, "frame": 3, "sentence": "x"}, {"id": "b", "damage": 25, "frame": 3}]
    worded = [rows[1], {**rows[0], "sentence": "y"}]
    later = [{**rows[1], "frame": 4}, rows[0]]
    answers = {"rows": rows}, {"rows": worded}, {"rows": later}, {"rows": rows[1:]}
    assert [_at_stake(answers[0], answer, differences) for answer in answers] == [0, 0, 25, 40]
    assert [_at_stake(answer, answers[0], differences) for answer in answers] == [0, 0, 25, 40]


def _damages(value: Any) -> list[float]:
    if isinstance(value, dict):
        own = [value["damage"]] if isinstance(value.get("damage"), int | float) else []
        return own + [one for part in value.values() for one in _damages(part)]
    return [one for part in value for one in _damages(part)] if isinstance(value, list) else []
