"""The notebook's commands, from a trial to what the lab says of theory."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from advisor.clients.notebook import COMMANDS

HERE = ("wenna", "marl", "--i-blocked", "cinder_knee", "--at", "touching", "--engine", "plain")


@pytest.fixture(autouse=True)
def _home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("ADVISOR_NOTEBOOK", "ADVISOR_TEST_POSTGRES"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))


def run(command: str, *words: str) -> Result:
    return CliRunner().invoke(COMMANDS[command], words)


def test_trials_overrule_theory_in_the_list() -> None:
    added = run("trial", *HERE, "--option", "putty_jab", "--result", "0/12", "--key", "k", "--json")
    assert added.exit_code == 0, added.output
    assert json.loads(added.stdout)["successes"] == 0
    again = run("trial", *HERE, "--option", "putty_jab", "--result", "0/12", "--key", "k", "--json")
    assert json.loads(again.stdout)["id"] == json.loads(added.stdout)["id"]
    listed = run("trials", *HERE)
    assert "lab: 0 of 12 (95 % at most 0.15)" in listed.output
    data = json.loads(run("trials", *HERE, "--json").stdout)
    assert len(data["trials"]) == 1 and data["evidence"][0]["said"]["tries"] == 12
    elsewhere = json.loads(run("trials", *HERE[:-3], "3.0", *HERE[-2:], "--json").stdout)
    assert elsewhere["trials"] == [] and elsewhere["evidence"] == []


@pytest.mark.parametrize(
    ("words", "said"),
    [(("--option", "putty_jap", "--result", "1/2"), "putty_jab"), (("--option", "putty_jab", "--result", "1"), "7/12"),
     (("--option", "putty_jab", "--result", "3/2"), "--result"),
     (("--option", "putty_jab", "--result", "1/2", "--corrects", "none"), "no trial")],
)  # fmt: skip
def test_a_faulty_trial_is_refused(words: tuple[str, ...], said: str) -> None:
    result = run("trial", *HERE, *words)
    assert result.exit_code == 2
    assert said in result.stderr


def test_a_set_from_saving_to_rerun(tmp_path: Path) -> None:
    saved = run("sets", "add", "lab", "knee", *HERE, "--responses", "putty_jab,guard")
    assert saved.exit_code == 0, saved.output
    assert run("sets", "list").output == "lab: 1 entries\n"
    assert "knee (question, answer of" in run("sets", "show", "lab").output
    assert run("sets", "rerun", "lab", "--engine", "plain").exit_code == 0
    lines = run("sets", "export", "lab").output
    head, entry = lines.splitlines()
    changed = json.loads(entry)
    changed["kept"]["answer"]["responses"][0]["verdict"] = "trades"
    file = tmp_path / "set.jsonl"
    file.write_text(head + "\n" + json.dumps(changed) + "\n", encoding="utf-8")
    assert run("sets", "import", str(file), "--name", "old").exit_code == 0
    told = run("sets", "rerun", "old", "--engine", "plain", "--accept")
    assert told.exit_code == 1
    assert '.verdict: "trades" -> ' in told.output
    assert run("sets", "rerun", "old", "--engine", "plain").exit_code == 0
    assert run("sets", "rerun", "none").exit_code == 2


def test_the_tables_by_hand(tmp_path: Path) -> None:
    assert run("notebook", "where").output.endswith("notebook.sqlite, version none yet\n")
    assert not (tmp_path / "data").exists()
    assert run("notebook", "upgrade").output == "version 0005\n"
    assert run("notebook", "downgrade", "0001", "--yes").output == "version 0001\n"
    assert run("notebook", "downgrade", "0001x", "--yes").exit_code == 2
    assert run("notebook", "downgrade", "base", "--yes").output == "version base\n"
