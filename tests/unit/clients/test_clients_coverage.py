"""``advisor coverage``: the table in a terminal, the answer as JSON, and what is wrong with the options."""

from __future__ import annotations

import msgspec
import pytest
from command_line import Run

from advisor.studies.coverage_answer import CoverageAnswer

DOWN = ("coverage", "marl", "wenna", "--engine", "plain", "--knockdown", "face_up", "--frames", "14", "--at", "close")


def answer(run: Run, *words: str) -> CoverageAnswer:
    result = run(*DOWN, "--json", *words)
    assert result.exit_code == 0, result.stderr
    return msgspec.json.decode(result.stdout, type=CoverageAnswer)


def test_json_is_the_answer(run: Run) -> None:
    found = answer(run, "--limit", "2", "--delays", "30", "--spread", "1.5", "--cover", "quick_rise,stay_down")
    assert (len(found.rows), found.delays, found.spread) == (2, 30, 1.5)
    assert [head.reply for head in found.replies if head.chosen] == ["quick_rise", "stay_down"]
    assert all(row.of == 2 and row.success is not None for row in found.rows)


def test_options_are_narrowed(run: Run) -> None:
    found = answer(run, "--responses", "ash_sweep,grate_scrape", "--replies", "quick_rise,back_roll")
    assert {row.option for row in found.rows} == {"ash_sweep", "grate_scrape"}
    assert [head.reply for head in found.replies] == ["quick_rise", "back_roll"]


@pytest.mark.parametrize("columns", [80, 100, 160])
def test_the_table_fits_and_names_everything(run: Run, columns: int) -> None:
    found = answer(run, "--limit", "3")
    result = run(*DOWN, "--limit", "3", columns=columns)
    assert result.exit_code == 0, result.stderr
    lines = result.stdout.splitlines()
    assert max(len(line) for line in lines) <= columns
    words = " ".join(result.stdout.split())
    assert found.summary in words
    for row in found.rows:
        assert row.sentence in words
    best = found.rows[0]
    for cell in best.cells:
        run_shown = max(cell.covers, key=lambda r: r.width).shown() if cell.covers else cell.verdict
        assert run_shown in words


def test_on_the_ground_the_table_speaks_of_their_delays(run: Run) -> None:
    result = run(*DOWN, "--floored", "me", "--limit", "3", columns=100)
    assert result.exit_code == 0, result.stderr
    assert "their delays that beat me" in " ".join(result.stdout.split())
    assert answer(run, "--floored", "me").timed_by == "them"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--cover", "quick_rize"), "quick_rise"), (("--spread", "0"), "--spread"),
        (("--knockdown", "face_upp"), "face_up"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_said(run: Run, words: tuple[str, ...], said: str) -> None:
    result = run(*DOWN, *words)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert said in result.stderr
