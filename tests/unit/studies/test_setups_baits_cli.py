"""``advisor setups`` and ``advisor baits`` on the command line."""

from __future__ import annotations

import json

from click.testing import CliRunner, Result

from advisor.clients.cli import main


def run(*words: str, columns: int = 90) -> Result:
    result = CliRunner().invoke(main, words, env={"COLUMNS": str(columns)})
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exc_info
    return result


SETUPS = ("setups", "marl", "wenna", "--knockdown", "face_up", "--frames", "30", "--at", "close")


def test_setups_in_words() -> None:
    result = run(*SETUPS, "--limit", "3")
    assert result.exit_code == 0, result.output
    assert "covers" in result.output and "width" in result.output and "By frames and distance" in result.output
    assert max(len(line) for line in result.output.splitlines()) <= 90


def test_setups_with_reasons() -> None:
    result = run(*SETUPS, "--limit", "1", "--why")
    assert "Up at Once: covered" in result.output


def test_setups_as_json() -> None:
    answer = json.loads(run(*SETUPS, "--limit", "2", "--json").stdout)
    assert len(answer["setups"]) == 2 and answer["complete"] is True


def test_a_bound_that_is_hit_is_said() -> None:
    assert "there may be others" in run(*SETUPS, "--length", "5", "--bound", "1000").output


def test_setups_names_the_option_at_fault() -> None:
    result = run(*SETUPS, "--last", "soot_jabb")
    assert result.exit_code == 2
    assert "soot_jab" in result.stderr


def test_baits_in_words() -> None:
    result = run("baits", "wenna", "marl", "--at", "touching", "--moves", "ladder_hop", "--answers", "set_pane")
    assert result.exit_code == 0, result.output
    assert "Ladder Hop, then Set the Pane" in result.output
    assert "caught, on frames 10-18" in " ".join(result.output.split())


def test_baits_as_json() -> None:
    answer = json.loads(run("baits", "wenna", "marl", "--at", "touching", "--json").stdout)
    assert answer["baits"][0]["tries"]
