"""``advisor sets lab``: the list as a table and as JSON, and what it refuses."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from command_line import Run

KNEE = (
    "wenna", "marl", "--i-blocked", "cinder_knee", "--at", "touching", "--responses", "putty_jab,against_frame,guard",
)  # fmt: skip


@pytest.fixture
def home(tmp_path: Path) -> dict[str, str]:
    return {"ADVISOR_NOTEBOOK": f"sqlite:///{tmp_path / 'n.sqlite'}"}


def test_the_next_lab_list_is_shown_and_printed(run: Run, home: dict[str, str]) -> None:
    saved = run("sets", "add", "punishes", "knee", *KNEE, "--engine", "plain", environ=home)
    assert saved.exit_code == 0, saved.output
    shown = run("sets", "lab", "punishes", "--tries", "1", "--engine", "plain", environ=home, columns=160)
    assert shown.exit_code == 0, shown.output
    assert "Try Against the Frame after a blocked Cinder Knee at touching" in shown.output and "0.45" in shown.output
    assert "knee: putty_jab is advised, against_frame is worth most (11)" in shown.output
    data = json.loads(run("sets", "lab", "punishes", "--json", "--engine", "plain", environ=home).stdout)
    assert data["tries"] == 10 and data["items"][0]["option"] == "against_frame"


def test_a_lab_list_of_nothing_is_refused(run: Run, home: dict[str, str]) -> None:
    wrong = run("sets", "lab", "punishes", environ=home)
    assert wrong.exit_code == 2 and "no set is called `punishes`" in wrong.stderr
    none = run("sets", "lab", "punishes", "--tries", "0", "--json", environ=home)
    assert none.exit_code == 2 and json.loads(none.stderr)["code"] == "value-invalid"
