"""``advisor beats``, ``parries``, ``exposed`` and ``lab-list`` on the command line."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner, Result

from advisor.clients.cli import main

ROUND = ("lab-list", "ketterby", "marl", "--i-blocked", "round_shovel", "--at", "touching")


def run(*words: str, columns: int = 90) -> Result:
    result = CliRunner().invoke(main, [*words, "--engine", "plain"], env={"COLUMNS": str(columns)})
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exc_info
    return result


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (
            ("beats", "marl", "cinder_knee", "--by", "wenna", "--at", "touching"),
            ("After a block", "Putty Jab: guaranteed, 8 damage, just frame", "misses a step to the left"),
        ),
        (
            ("beats", "ilko", "sting,second_sting,comb_lift", "--string", "--by", "wenna", "--at", "touching"),
            ("it jails", "In the gap of the string", "Set the Pane: beats, 26 damage, 3 frames"),
        ),
        (("beats", "ilko", "sting,ankle_smoke", "--at", "close", "--limit", "2"), ("whole roster", "2 of 2")),
        (
            ("beats", "ilko", "sting,brood_grip", "--shares", "7,3", "--by", "wenna", "--at", "touching"),
            ("of the habit", "sting (70%)", "brood_grip (30%)"),
        ),
        (
            ("parries", "wenna", "--them", "ilko", "--parry", "set_pane"),
            ("Through the Frame", "set_pane: strings", "jails"),
        ),
        (("parries", "wenna"), ("set_pane", "ketterby", "share")),
        (("exposed", "wenna", "--at", "touching"), ("punished by 4 of 4", "Rising Pane (-16)")),
        (("exposed", "wenna", "--them", "marl", "--option", "cinder_knee"), ("lose", "counter hit")),
        (
            ("exposed", "wenna", "--them", "marl", "--option", "cinder_knee", "--at", "touching", "--delays", "30"),
            ("when it starts at once", "That is so when they start 0-6, 20-30 frames late.", "at once beats"),
        ),
        (("exposed", "wenna", "--them", "marl", "--after", "whiff", "--limit", "2"), ("when missed",)),
        (("lab-list", "wenna", "--at", "touching", "--limit", "3"), ("answers hang on it", "--limit shows more")),
        (ROUND, ("ketterby cuff: reach of Cuff",)),
    ],
)
def test_in_words(words: tuple[str, ...], said: tuple[str, ...]) -> None:
    result = run(*words)
    assert result.exit_code == 0, result.output + result.stderr
    flat = " ".join(result.output.split())
    assert all(text in flat for text in said), result.output
    assert max(len(line) for line in result.output.splitlines()) <= 90
    assert "Note: For study" in flat and "\x1b" not in result.output


@pytest.mark.parametrize(
    ("words", "key"),
    [
        (("beats", "marl", "cinder_knee", "--by", "wenna"), "rows"),
        (("parries", "wenna", "--them", "ilko"), "moves"),
        (("exposed", "wenna"), "moves"),
        (ROUND, "items"),
    ],
)
def test_as_json(words: tuple[str, ...], key: str) -> None:
    answer = json.loads(run(*words, "--json").stdout)
    assert answer[key] and answer["cautions"] and answer["pack"]["id"] == "cold_frame"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("beats", "marl", "cinder_nee"), ("option-unknown", "cinder_knee")),
        (("beats", "marl", "cinder_knee", "--when", "befor"), ("--when", "before")),
        (("beats", "ilko", "sting,comb_lift", "--string"), ("question-impossible", "second_sting")),
        (("beats", "ilko", "sting", "--shares", "1,2"), ("question-impossible", "`shares` has 2 entries")),
        (("beats", "ilko", "sting,comb_lift", "--shares", "1,often"), ("value-invalid", "--shares")),
        (("parries", "marl"), ("has no parry", "wenna")),
        (("exposed", "wenna", "--option", "sting"), ("needs `them`",)),
        (("lab-list", "wenna", "--neutral"), ("needs `THEM`",)),
        (("lab-list", "ketterby", "marl", "--i-blocked", "round_shovl"), ("move-unknown", "round_shovel")),
    ],
)
def test_errors_end_with_two_and_say_what_would_be_right(words: tuple[str, ...], said: tuple[str, ...]) -> None:
    result = run(*words)
    assert result.exit_code == 2
    assert all(text in result.stderr for text in said), result.stderr
    assert result.stdout == ""
