"""``advisor strings`` and ``advisor defence``: what they print, their JSON, and their errors."""

from __future__ import annotations

import json

import msgspec
import pytest
from command_line import Run

from advisor.studies.defence_answer import DefenceAnswer
from advisor.studies.strings_answer import StringsAnswer

STRINGS = ("strings", "ilko", "--starter", "sting", "--them", "wenna", "--at", "touching")
DEFENCE = ("defence", "wenna", "ilko", "--neutral", "--at", "touching", "--guards", "stand_guard")
PRESSURE = ("defence", "wenna", "marl", "--knockdown", "face_up", "--frames", "20", "--mode", "safe_pressure")


def test_strings_are_laid_out_for_people(run: Run) -> None:
    result = run(*STRINGS, columns=100)
    text = " ".join(result.output.split())
    assert result.exit_code == 0
    assert "Worker Sting, Second Sting, Third Sting: on block jails, then jails; on hit combos, then combos." in text
    assert "sting > second_sting, blocked, then comb_lift" in text
    assert "Comb Lift (hit 3) arrives 21 frames after hit 2: a gap of 3." in text
    assert "set_pane: beats, delayed by 0-2." in text
    assert "Mix-up after sting, blocked" in text
    assert max(len(line) for line in result.output.splitlines()) <= 100


def test_strings_as_json_are_the_answer_of_the_study(run: Run) -> None:
    result = run(*STRINGS, "--json")
    answer = msgspec.convert(json.loads(result.output), StringsAnswer)
    assert (answer.character, answer.them, answer.distance) == ("ilko", "wenna", 0.4)
    assert {link.word for link in answer.links} >= {"jails", "combos", "gap"}


def test_layers_are_laid_out_for_people(run: Run) -> None:
    result = run(*DEFENCE, "--replies", "queen_tap,wax_shin,lid_off", "--responses", "crouch_guard,guard", "--cells")
    text = " ".join(result.output.split())
    assert result.exit_code == 0
    assert "Set against: queen_tap, wax_shin, lid_off" in text
    assert "Standing Guard, then Guard: giving up the guard on any of frames 1 to 15 covers 3 of 3." in text
    assert "wax_shin: holds. Wax Shin is blocked on frame 15." in text
    assert "Standing Guard all the time: covers 2 of 3, not wax_shin" in text
    assert "beaten by" in text


def test_pressure_as_json_is_the_answer_of_the_study(run: Run) -> None:
    result = run(*PRESSURE, "--at", "close", "--limit", "3", "--json")
    answer = msgspec.convert(json.loads(result.output), DefenceAnswer)
    assert answer.mode == "safe_pressure"
    assert len(answer.rows) == 3
    assert all(row.windows for row in answer.rows)


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("strings", "ilko", "--most-hits", "9"), "`--most-hits`"),
        (("strings", "ilkoo"), "did you mean `ilko`?"),
        ((*DEFENCE, "--latest", "0"), "`--latest`"),
        ((*DEFENCE, "--responses", "break:twin"), "did you mean `break:twine`?"),
        (("defence", "wenna", "ilko"), "no moment is named"),
    ],
)
def test_errors_name_the_option_or_the_near_word(run: Run, words: tuple[str, ...], code: str) -> None:
    result = run(*words)
    assert result.exit_code == 2
    assert code in " ".join(result.stderr.split())
