"""``advisor ask``: each option asks what it says, in JSON and in a terminal."""

from __future__ import annotations

import json
from typing import Any

import msgspec
import pytest
from command_line import Run
from litestar.testing import TestClient

from advisor.advice import Advice
from advisor.clients.asking import MOMENTS
from advisor.facts.question import Question
from advisor.service.app import Service

ASK = ("ask", "wenna", "marl", "--engine", "plain")
BLOCKED = (*ASK, "--i-blocked", "cinder_knee", "--at", "touching")
SHORT = ("--responses", "putty_jab,guard", "--replies", "guard,soot_jab")


def answer(run: Run, *words: str) -> Advice:
    result = run(*words, "--json")
    assert result.exit_code == 0, result.stderr
    assert result.stderr == ""
    return msgspec.json.decode(result.stdout, type=Advice)


def question(**changes: Any) -> dict[str, Any]:
    body = {
        "me": {"character": "wenna"}, "them": {"character": "marl"}, "moment": {"kind": "neutral"}, "limit": 8,
        **changes,
    }  # fmt: skip
    msgspec.convert(body, Question)
    return body


def test_json_is_the_advice(run: Run) -> None:
    advice = answer(run, *BLOCKED)
    assert (advice.situation.me, advice.situation.them, advice.situation.advantage) == ("wenna", "marl", 10)
    assert advice.responses[0].verdict == "guaranteed"
    assert advice.pack.evaluator == "plain"


MOVE_OF = {"me": "lead_line", "them": "cinder_knee"}
ASKED = [
    *(((f"--{name.replace('_', '-')}", MOVE_OF[who]),
       question(moment={"kind": kind, "attacker": who, "move": MOVE_OF[who]}))
      for name, (kind, who, _) in MOMENTS.items()),
    (("--neutral",), question()),
    (("--advantage", "-3"), question(moment={"kind": "advantage", "frames": -3, "held": "recovery"})),
    (("--advantage", "5", "--held", "blockstun"),
     question(moment={"kind": "advantage", "frames": 5, "held": "blockstun"})),
    (("--advantage", "0", "--held", "hitstun"), question(moment={"kind": "advantage", "frames": 0, "held": "hitstun"})),
    (("--neutral", "--at", "1.5"), question(distance=1.5)),
    (("--neutral", "--at", "close"), question(distance="close")),
    (("--neutral", "--pack", "cold_frame"), question(pack="cold_frame")),
    (("--neutral", "--replies", "key"), question(replies="key")),
    (("--neutral", "--replies", "all", "--responses", "putty_jab"), question(replies="all", responses=["putty_jab"])),
    (("--neutral", "--replies", "guard, soot_jab"), question(replies=["guard", "soot_jab"])),
    (("--neutral", "--my-health", "20", "--their-health", "8.5", "--at", "close"),
     question(me={"character": "wenna", "health": 20}, them={"character": "marl", "health": 8.5}, distance="close")),
    (("--neutral", "--my-meter", "50", "--their-meter", "3"),
     question(me={"character": "wenna", "meter": 50}, them={"character": "marl", "meter": 3})),
    (("--neutral", "--my-stance", "kneel", "--their-stance", "kneel"),
     question(me={"character": "wenna", "stance": "kneel"}, them={"character": "marl", "stance": "kneel"})),
    (("--neutral", "--my-back-turned", "--their-back-turned"),
     question(me={"character": "wenna", "back_turned": True}, them={"character": "marl", "back_turned": True})),
    (("--neutral", "--near-wall", "--no-my-wall"),
     question(me={"character": "wenna", "near_wall": True}, them={"character": "marl", "near_wall": False})),
    (("--neutral", "--no-wall", "--my-wall"),
     question(me={"character": "wenna", "near_wall": False}, them={"character": "marl", "near_wall": True})),
    (("--neutral", "--limit", "2", "--sources", "--at", "close"), question(limit=2, sources=True, distance="close")),
]  # fmt: skip


@pytest.mark.parametrize(("options", "body"), ASKED, ids=[" ".join(options) for options, _ in ASKED])
def test_every_option_asks_the_same_as_a_post(
    run: Run, client: TestClient[Service], options: tuple[str, ...], body: dict[str, Any]
) -> None:
    response = client.post("/v1/advice", json=body)
    assert response.status_code == 200, response.text
    assert answer(run, *ASK, *options) == msgspec.json.decode(response.content, type=Advice)


def test_the_options_change_what_is_asked(run: Run) -> None:
    """So that the comparison above compares something: fighters' state and options are heeded."""
    plain = answer(run, *ASK, "--neutral", "--limit", "400")
    kneeling = answer(run, *ASK, "--neutral", "--limit", "400", "--my-stance", "kneel")
    assert plain.excluded.keys() - kneeling.excluded.keys() >= {"sill_kick"}
    walled = answer(run, *ASK, "--neutral", "--limit", "400", "--no-wall")
    assert walled != answer(run, *ASK, "--neutral", "--limit", "400", "--near-wall")


@pytest.mark.parametrize(
    ("options", "said", "help"),
    [
        ((), "error[value-invalid]: no moment is named (at /moment)", "help: name one of --i-blocked, --they-blocked"),
        (("--neutral", "--advantage", "0"), "error[question-ambiguous]: 2 moments are named (at /moment)",
         "help: name one of"),
        (("--i-blocked", "cinder_knee", "--they-whiffed", "cinder_knee"), "error[question-ambiguous]: 2 moments",
         "help: name one of"),
        (("--neutral", "--held", "hitstun"), "error[question-impossible]: `--held` goes with `--advantage`",
         "help: leave --held out"),
        (("--neutral", "--at", "-1"), "error[value-invalid]: `--at`: expected a number >= 0", None),
        (("--neutral", "--at", "nan"), "error[value-invalid]: `--at`: expected a number >= 0", None),
        (("--neutral", "--at", "inf"), "error[value-invalid]: `--at`: expected a number <= 1000", None),
        (("--neutral", "--at", ""), "error[value-invalid]: `--at`: expected text of length >= 1", None),
        (("--neutral", "--my-health", "-5"), "error[value-invalid]: `--my-health`: expected a number >= 0", None),
        (("--neutral", "--their-meter", "-5"), "error[value-invalid]: `--their-meter`: expected a whole number >= 0",
         None),
        (("--i-blocked", ""), "error[value-invalid]: `--i-blocked`: expected text of length >= 1", None),
        (("--neutral", "--replies", ","), "error[question-impossible]: `replies` is empty (at /replies)",
         "help: name at least one reply"),
        (("--neutral", "--at", "touchin"), "error[distance-unknown]: pack `cold_frame` has no distance",
         "help: did you mean `touching`?"),
        (("--i-blocked", "cinder_kne"), "error[move-unknown]: fighter `marl` has no move `cinder_kne`",
         "help: did you mean `cinder_knee`?"),
        (("--neutral", "--pack", "cold"), "error[pack-unknown]: no pack `cold` is loaded", "help: "),
        (("--neutral", "--responses", "guard,putty_jb"), "error[option-unknown]: `putty_jb` is neither",
         "help: did you mean `putty_jab`?"),
    ],
)  # fmt: skip
def test_errors_go_to_standard_error_and_end_with_2(
    run: Run, options: tuple[str, ...], said: str, help: str | None
) -> None:
    result = run(*ASK, *options)
    assert (result.exit_code, result.stdout) == (2, "")
    lines = result.stderr.splitlines()
    assert lines[0].startswith(said)
    assert len(lines) == (1 if help is None else 2)
    assert help is None or lines[1].startswith(help)


def test_errors_as_json_are_the_problem_of_the_service(run: Run, client: TestClient[Service]) -> None:
    result = run("ask", "wena", "marl", "--neutral", "--engine", "plain", "--json")
    assert (result.exit_code, result.stdout) == (2, "")
    response = client.post("/v1/advice", json=question(me={"character": "wena"}))
    assert json.loads(result.stderr) == response.json()


@pytest.mark.parametrize(
    "words",
    [
        ("ask", "wenna"), ("ask", "wenna", "marl", "--neutral", "--limit", "0"),
        ("ask", "wenna", "marl", "--advantage", "x"),
        ("ask", "wenna", "marl", "--advantage", "201"), ("ask", "wenna", "marl", "--advantage", "1", "--held", "x"),
        ("ask", "wenna", "marl", "--i-block", "x"), ("ask", "a", "b", "--neutral", "--packs", "/nowhere"), ("asks",),
        ("serve", "--port", "70000"), ("check",), ("check", "/nowhere"), ("show", "--kind", "x"),
    ],
)  # fmt: skip
def test_wrong_usage_ends_with_2(run: Run, words: tuple[str, ...]) -> None:
    result = run(*words)
    assert (result.exit_code, result.stdout) == (2, "")
    assert "Usage: " in result.stderr


@pytest.mark.parametrize("columns", [40, 60, 80, 109, 110, 160])
def test_nothing_is_wider_than_the_terminal_and_no_word_is_cut(run: Run, columns: int) -> None:
    result = run(*BLOCKED, *SHORT, "--why", "--sources", columns=columns)
    lines = result.stdout.splitlines()
    assert result.exit_code == 0
    assert max(map(len, lines)) <= columns
    assert "\u2026" not in result.stdout
    assert "guaranteed" in result.stdout
    assert "\x1b" not in result.stdout
    assert ("\u2503" in result.stdout) == (columns >= 110)


def test_what_the_terminal_shows(run: Run) -> None:
    lines = [line.rstrip() for line in run(*BLOCKED, *SHORT, columns=100).stdout.splitlines()]
    assert lines[0].startswith("Dessa Marl's Cinder Knee was blocked by Wenna Pallister: you are +10")
    assert lines[1].startswith("Punish: Putty Jab")
    assert lines[2] == "Set against: guard, soot_jab"
    assert lines[3].startswith(" 1. Putty Jab: guaranteed")
    assert lines[4].startswith("    8 damage, touches on its frame 10")
    assert any(line.startswith(" 2. Guard: ") for line in lines)
    assert lines[-1].startswith("Cold Frame Quarrel 1.0, data ")
    assert lines[-1].endswith("(plain)")


def test_limit_says_how_many_are_left(run: Run) -> None:
    advice = answer(run, *BLOCKED, "--limit", "3")
    shown = run(*BLOCKED, "--limit", "3").stdout
    assert len(advice.responses) == 3
    assert f"{advice.considered - 3} more were weighed; --limit shows more." in shown
    assert " 4. " not in shown


def test_why_shows_each_rule_with_its_facts(run: Run) -> None:
    advice = answer(run, *BLOCKED, *SHORT)
    shown = run(*BLOCKED, *SHORT, "--why", columns=400).stdout
    for response in advice.responses:
        for reason in response.reasons:
            assert f"{reason.rule}: {reason.sentence}" in shown
        for line in response.against:
            for reason in line.reasons:
                assert f"{reason.rule}: {reason.sentence}" in shown
                assert all(f"{f.name} = " in shown for f in reason.facts)
    assert "      from " not in shown
    assert "punish/guaranteed" not in run(*BLOCKED, *SHORT, columns=400).stdout


def test_sources_are_shown_once_for_each_exchange(run: Run) -> None:
    advice = answer(run, *BLOCKED, *SHORT, "--sources")
    lines = [line.strip() for line in run(*BLOCKED, *SHORT, "--why", "--sources", columns=2000).stdout.splitlines()]
    shown = [line.removeprefix("from ").split("; ") for line in lines if line.startswith("from ")]
    wanted = [
        {s for reason in line.reasons for fact in reason.facts for s in fact.sources or ()}
        for response in advice.responses
        for line in response.against
    ]
    wanted = [sources for sources in wanted if sources]
    assert [set(line) for line in shown] == wanted
    assert all(len(line) == len(set(line)) for line in shown)
    assert len(wanted) > 1
