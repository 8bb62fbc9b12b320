"""``advisor replay`` on the command line: the rows, the pieces, the pictures, and what it says of a slip."""

from __future__ import annotations

import json
from pathlib import Path
from xml.etree import ElementTree

import pytest
from click.testing import Result
from command_line import Run

PUNISH = ("replay", "wenna", "marl", "--i-blocked", "cinder_knee", "--at", "touching", "--reply", "guard")


def asked(run: Run, *more: str, option: str = "putty_jab") -> Result:
    return run(*PUNISH, "--option", option, *more)


def test_the_rows_are_one_character_a_frame(run: Run) -> None:
    said = asked(run)
    assert said.exit_code == 0
    lines = said.stdout.splitlines()
    at = next(i for i, line in enumerate(lines) if line.startswith("frame"))
    assert lines[at] == "frame ....:....|....:....|....:....|...."
    assert lines[at + 1].rstrip() == "me    sssssssssAArrrrrrrrrrrrrr........."
    assert lines[at + 2].rstrip() == "them  RRRRRRRRRRHHHHHHHHHHHHHHHHHHHHHHH."
    assert lines[at + 3].rstrip() == " " * 15 + "X"
    assert lines[at - 1].rstrip().endswith("30")
    assert lines[at - 1].index("10") + 1 == lines[at].index("|")
    assert "R held in recovery" in said.stdout
    assert "10  me   Putty Jab hits Dessa Marl for 8 damage" in said.stdout


@pytest.mark.parametrize("width", [40, 60, 80, 100])
def test_no_line_is_wider_than_the_screen_and_no_frame_is_lost(run: Run, width: int) -> None:
    said = run(
        "replay", "marl", "wenna", "--knockdown", "face_up", "--frames", "14", "--at", "close",
        "--option", "full_steam", "--reply", "delayed_rise", "--delay", "25", columns=width,
    )  # fmt: skip
    assert said.exit_code == 0
    assert max(map(len, said.stdout.splitlines())) <= width
    ticks = [line[6:].rstrip() for line in said.stdout.splitlines() if line.startswith("frame ")]
    assert len(ticks) > 1 or width == 100
    joined = "".join(ticks)
    assert all((tick == "|") == (frame % 10 == 0) for frame, tick in enumerate(joined, 1))
    assert said.stdout.isascii()


def test_the_proof_is_shown_when_asked_for_and_as_deep_as_asked(run) -> None:
    bare, why, brief = asked(run), asked(run, "--why"), asked(run, "--why", "--explain", "brief")
    assert "punish/guaranteed" not in bare.stdout
    assert "punish/guaranteed" in why.stdout and "exchange.frame = 10" in why.stdout
    assert "punish/guaranteed" in brief.stdout and "exchange.frame" not in brief.stdout


def test_json_is_the_services_answer(run: Run) -> None:
    answer = json.loads(asked(run, "--json", "--delay", "1").stdout)
    assert (answer["contact"]["effect"], answer["contact"]["frame"], answer["delay"]) == ("blocked", 11, 1)


def test_a_picture_is_written_beside_the_answer(run: Run, tmp_path: Path) -> None:
    target = tmp_path / "strip.svg"
    said = asked(run, "--svg", str(target))
    assert said.exit_code == 0 and "Putty Jab hits" in said.stdout
    root = ElementTree.fromstring(target.read_bytes())
    assert root.tag.endswith("svg")


def test_a_picture_that_cannot_be_written(run: Run, tmp_path: Path) -> None:
    said = asked(run, "--svg", str(tmp_path / "nowhere" / "strip.svg"))
    assert said.exit_code == 2
    assert "`--svg`" in said.stderr and "no such file" in said.stderr
    assert not said.stdout


@pytest.mark.parametrize(
    ("more", "option", "text"),
    [((), "puty_jab", "did you mean `putty_jab`?"), (("--pack", "cold"), "putty_jab", "no pack `cold` is loaded")],
)
def test_a_slip_is_answered(run: Run, more: tuple[str, ...], option: str, text: str) -> None:
    said = asked(run, *more, option=option)
    assert said.exit_code == 2
    assert text in " ".join(said.stderr.split())


def test_explain_on_the_question_too(run: Run) -> None:
    ask = ("ask", "wenna", "marl", "--i-blocked", "cinder_knee", "--at", "touching", "--limit", "3", "--json")
    full, none = (json.loads(run(*ask, "--explain", depth).stdout) for depth in ("full", "none"))
    assert full["responses"][0]["against"] and not none["responses"][0]["against"]
    assert [r["sentence"] for r in full["responses"]] == [r["sentence"] for r in none["responses"]]
