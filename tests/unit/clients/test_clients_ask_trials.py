"""``advisor ask`` and the lab notebook: read when there is one, and otherwise neither made nor loaded."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from command_line import Run

from advisor.clients.lab import default_file
from advisor.notebook import notebook_url

HERE = ("wenna", "marl", "--i-blocked", "cinder_knee", "--at", "touching", "--engine", "plain")


@pytest.fixture(autouse=True)
def _home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))


def test_trials_decide_are_shown_or_ignored(run: Run) -> None:
    for player, window, result in (("ann", "1", "0/12"), ("ann", "2", "1/20")):
        option = "putty_jab" if window == "1" else "guard"
        added = run(
            "trial", *HERE, "--option", option, "--result", result, "--player", player, "--window", window
        )
        assert added.exit_code == 0, added.output
    followed = " ".join(run("ask", *HERE, "--limit", "40").stdout.split())
    assert "The lab decides: " in followed and "loses (lab 0/12)" in followed
    assert "lab: 0 of 12 (95 % at most 0.15): the lab decides" in followed
    shown = run("ask", *HERE, "--trials", "show", "--why", columns=200).stdout
    assert shown.splitlines()[1].startswith("Punish: Putty Jab") and "0 of 12" in shown
    bare = json.loads(run("ask", *HERE, "--trials", "ignore", "--json").stdout)
    assert bare["responses"][0]["verdict"] == "guaranteed" and "evidence" not in bare["responses"][0]
    known = json.loads(run("ask", *HERE, "--player", "ann", "--json").stdout)["responses"][0]["evidence"]
    assert known["follow"] == "guaranteed" and "by its window" in known["sentence"]


@pytest.mark.parametrize("words", [("--trials", "maybe"), ("--player", "")])
def test_a_faulty_word_about_trials_is_refused(run: Run, words: tuple[str, str]) -> None:
    result = run("ask", *HERE, *words)
    assert result.exit_code == 2 and words[0] in result.stderr


def test_a_notebook_that_cannot_be_opened_is_named(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "x.sqlite"
    file.write_bytes(b"not a database at all, " * 100)
    result = run("ask", *HERE, environ={"ADVISOR_NOTEBOOK": f"sqlite:///{file}"})
    assert result.exit_code == 2 and "not a database" in result.stderr
    absent = f"sqlite:///{tmp_path / 'absent' / 'y.sqlite'}"
    assert run("ask", *HERE, environ={"ADVISOR_NOTEBOOK": absent}).exit_code == 0
    assert not (tmp_path / "absent").exists()


def test_without_a_notebook_no_database_is_loaded_or_made(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("ADVISOR_NOTEBOOK", raising=False)
    script = (
        "import sys\nfrom click.testing import CliRunner\nfrom advisor.clients.cli import main\n"
        f"said = CliRunner().invoke(main, {['ask', *HERE]!r})\n"
        "print(said.exit_code, *(n for n in ('sqlalchemy', 'alembic', 'numpy') if n in sys.modules))\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["0"]
    assert not (tmp_path / "data").exists()


def test_the_place_is_that_of_the_notebook(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("ADVISOR_NOTEBOOK", raising=False)
    for folder in ("/d", "d", ""):
        monkeypatch.setenv("XDG_DATA_HOME", folder)
        assert notebook_url() == f"sqlite:///{default_file()}"
