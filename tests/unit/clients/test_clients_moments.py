"""The options that name a moment, shared by ``ask`` and the studies: knockdowns, and what does not go together."""

from __future__ import annotations

from typing import Any

import click
import msgspec
import pytest
from click.testing import CliRunner
from command_line import Run
from litestar.testing import TestClient

from advisor.advice import Advice
from advisor.clients.asking import moment_if_any, moment_of, moment_options
from advisor.clients.cli import main
from advisor.clients.studies.registry import COMMANDS
from advisor.errors import AdvisorError
from advisor.facts.question import Moment
from advisor.service.app import Service
from advisor.studies import STUDIES

ASK = ("ask", "marl", "wenna", "--engine", "plain", "--at", "close")
DOWN = ("--knockdown", "face_up", "--frames", "20")


def given(*words: str) -> dict[str, Any]:
    """The values of the moment options that the words spell."""
    held: dict[str, Any] = {}

    @click.command()
    @moment_options
    def command(**values: Any) -> None:
        held.update(values)

    result = CliRunner().invoke(command, words)
    assert result.exit_code == 0, result.output
    return held


MOMENTS = [
    (("--i-blocked", "x"), {"kind": "blocked", "attacker": "them", "move": "x"}),
    (("--they-were-counter-hit", "x"), {"kind": "counter_hit", "attacker": "me", "move": "x"}),
    (("--neutral",), {"kind": "neutral"}),
    (("--advantage", "-3"), {"kind": "advantage", "frames": -3, "held": "recovery"}),
    (("--advantage", "0", "--held", "hitstun"), {"kind": "advantage", "frames": 0, "held": "hitstun"}),
    (DOWN, {"kind": "knockdown", "floored": "them", "state": "face_up", "frames": 20}),
    ((*DOWN, "--floored", "them"), {"kind": "knockdown", "floored": "them", "state": "face_up", "frames": 20}),
    (("--knockdown", "x", "--floored", "me", "--frames", "0"),
     {"kind": "knockdown", "floored": "me", "state": "x", "frames": 0}),
]  # fmt: skip


@pytest.mark.parametrize(("words", "moment"), MOMENTS, ids=[" ".join(words) for words, _ in MOMENTS])
def test_the_options_spell_a_moment(words: tuple[str, ...], moment: dict[str, Any]) -> None:
    assert moment_of(given(*words)) == moment_if_any(given(*words)) == moment
    msgspec.convert(moment, Moment)


def test_no_moment_may_be_fine_or_not() -> None:
    assert moment_if_any(given()) is None
    with pytest.raises(AdvisorError, match="no moment is named") as caught:
        moment_of(given())
    assert "--knockdown" in caught.value.help


FAULTS = [
    ((*DOWN, "--neutral"), "question-ambiguous", "2 moments are named", "name one of --i-blocked"),
    ((*DOWN, "--advantage", "0"), "question-ambiguous", "2 moments are named", "name one of --i-blocked"),
    (("--knockdown", "face_up"), "value-invalid", "`--knockdown` needs `--frames`", "add --frames"),
    (("--neutral", "--frames", "3"), "question-impossible", "`--frames` goes with `--knockdown`", "leave --frames out"),
    (("--floored", "me"), "question-impossible", "`--floored` goes with `--knockdown`", "leave --floored out"),
    ((*DOWN, "--held", "hitstun"), "question-impossible", "`--held` goes with `--advantage`", "leave --held out"),
]


@pytest.mark.parametrize(("words", "code", "said", "help"), FAULTS, ids=[" ".join(f[0]) for f in FAULTS])
def test_what_does_not_go_together_is_refused(words: tuple[str, ...], code: str, said: str, help: str) -> None:
    with pytest.raises(AdvisorError) as caught:
        moment_if_any(given(*words))
    assert (caught.value.code, caught.value.message) == (code, said)
    assert caught.value.help.startswith(help)


@pytest.mark.parametrize("floored", ["me", "them"])
def test_ask_after_a_knockdown_is_the_same_as_a_post(run: Run, client: TestClient[Service], floored: str) -> None:
    result = run(*ASK, *DOWN, "--floored", floored, "--json")
    assert result.exit_code == 0, result.stderr
    body = {
        "me": {"character": "marl"}, "them": {"character": "wenna"}, "distance": "close", "limit": 8,
        "moment": {"kind": "knockdown", "floored": floored, "state": "face_up", "frames": 20},
    }  # fmt: skip
    response = client.post("/v1/advice", json=body)
    advice = msgspec.json.decode(response.content, type=Advice)
    assert msgspec.json.decode(result.stdout, type=Advice) == advice
    assert advice.situation.advantage == (20 if floored == "them" else -20)
    lying = advice.situation.replies if floored == "them" else [r.option for r in advice.responses]
    assert "quick_rise" in lying


def test_an_unknown_state_names_the_nearest(run: Run) -> None:
    result = run(*ASK, "--knockdown", "face_upp", "--frames", "20")
    assert result.exit_code == 2
    assert "error[knockdown-unknown]" in result.stderr
    assert "did you mean `face_up`?" in result.stderr


def test_frames_out_of_bounds_are_a_usage_error(run: Run) -> None:
    result = run(*ASK, "--knockdown", "face_up", "--frames", "301")
    assert result.exit_code == 2
    assert "--frames" in result.stderr


def test_every_study_has_a_command_and_every_such_command_a_study() -> None:
    assert {name.replace("-", "_") for name in COMMANDS} == set(STUDIES)
    assert set(COMMANDS) <= set(main.commands)
    for name, command in COMMANDS.items():
        assert main.commands[name] is command
        words = {option for parameter in command.params for option in parameter.opts}
        assert {"--json", "--packs", "--rules", "--engine", "--pack"} <= words, name
        assert command.help, name
        for parameter in command.params:
            assert isinstance(parameter, click.Argument) or getattr(parameter, "help", None), (name, parameter.name)


@pytest.mark.parametrize("name", COMMANDS)
def test_the_help_of_a_command_names_it(run: Run, name: str) -> None:
    result = run(name, "--help")
    assert result.exit_code == 0
    assert f" {name} " in result.stdout.splitlines()[0]


@pytest.mark.parametrize("name", COMMANDS)
def test_a_command_about_nobody_is_refused(run: Run, name: str) -> None:
    result = run(name, "nobody", "nobody", "--engine", "plain", "--neutral" if name == "coverage" else "--json")
    assert result.exit_code == 2
    assert result.stderr
    assert "Traceback" not in result.output
