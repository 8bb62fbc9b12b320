"""``advisor show`` and the help texts."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner
from command_line import Run
from litestar.testing import TestClient

from advisor.clients.cli import main
from advisor.service.app import Service

SHOW = ("show", "--engine", "plain")
PATHS = [
    ((), "/v1/packs", "packs"),
    (("cold_frame",), "/v1/packs/cold_frame/characters", "characters"),
    (("cold_frame", "wenna"), "/v1/packs/cold_frame/characters/wenna/moves", "moves"),
    (("cold_frame", "wenna", "set_pane"), "/v1/packs/cold_frame/characters/wenna/moves/set_pane", ""),
    (("cold_frame", "wenna", "guard"), "/v1/packs/cold_frame/characters/wenna/moves/guard", ""),
]
BOUNDS = [
    {"sort": "-damage"}, {"level": "low"}, {"tag": "bait"}, {"kind": "parry"}, {"q": "pane"}, {"unknown": "on_block"},
    {"first_active_max": "12"}, {"on_block_min": "-3", "on_block_max": "1"}, {"damage_min": "20.5"},
    {"reach_min": "1.5"},
]  # fmt: skip


@pytest.mark.parametrize(("words", "path", "key"), PATHS)
def test_json_is_what_the_service_lists(
    run: Run, client: TestClient[Service], words: tuple[str, ...], path: str, key: str
) -> None:
    result = run(*SHOW, *words, "--json")
    assert (result.exit_code, result.stderr) == (0, "")
    listed = client.get(path).json()
    assert json.loads(result.stdout) == (listed[key] if key else listed)


@pytest.mark.parametrize("bounds", BOUNDS, ids=[" ".join(b) for b in BOUNDS])
def test_bounds_are_those_of_the_service(run: Run, client: TestClient[Service], bounds: dict[str, str]) -> None:
    options = [word for name, text in bounds.items() for word in (f"--{name.replace('_', '-')}", text)]
    result = run(*SHOW, "cold_frame", "wenna", *options, "--json")
    listed = client.get("/v1/packs/cold_frame/characters/wenna/moves", params=bounds).json()["moves"]
    assert json.loads(result.stdout) == listed
    assert listed


@pytest.mark.parametrize(
    ("words", "said", "help"),
    [
        (("zz",), "error[pack-unknown]: no pack `zz` is loaded", "help: loaded: cold_frame"),
        (("cold_frame", "wena"), "error[character-unknown]: pack `cold_frame` has no character `wena`",
         "help: did you mean `wenna`?"),
        (("cold_frame", "wenna", "set_pan"), "error[move-unknown]: `wenna` of pack `cold_frame` has no move `set_pan`",
         "help: did you mean `set_pane`?"),
        (("cold_frame", "wenna", "--sort", "damag"), "error[value-invalid]: `sort`: `damag` is not known here",
         "help: did you mean `damage`? one of id, name,"),
        (("cold_frame", "wenna", "--level", "mild"), "error[value-invalid]: pack `cold_frame` has no level `mild`",
         "help: did you mean `mid`?"),
        (("cold_frame", "wenna", "--damage-min", "x"),
         "error[value-invalid]: `damage_min`: expected a number, got text", None),
    ],
)  # fmt: skip
def test_errors(run: Run, words: tuple[str, ...], said: str, help: str | None) -> None:
    result = run(*SHOW, *words)
    assert (result.exit_code, result.stdout) == (2, "")
    lines = result.stderr.splitlines()
    assert lines[0] == said
    assert help is None or lines[1].startswith(help)
    problem = json.loads(run(*SHOW, *words, "--json").stderr)
    assert said == f"error[{problem['code']}]: {problem['detail']}"


@pytest.mark.parametrize("words", [words for words, _, _ in PATHS])
@pytest.mark.parametrize("columns", [60, 120])
def test_nothing_is_wider_than_the_terminal_and_no_word_is_cut(run: Run, words: tuple[str, ...], columns: int) -> None:
    result = run(*SHOW, *words, columns=columns)
    assert result.exit_code == 0
    assert max(map(len, result.stdout.splitlines())) <= columns
    assert "\u2026" not in result.stdout
    assert "\x1b" not in result.stdout


def test_a_row_of_a_move(run: Run) -> None:
    narrow = run(*SHOW, "cold_frame", "wenna", columns=60).stdout.splitlines()
    rows = {line.split()[0]: line.split()[1:] for line in narrow}
    assert rows["id"] == ["level", "start", "damage", "block", "hit", "reach"]
    assert rows["ladder_hop"] == ["mid", "17", "20", "-8", "+7", "1.5"]
    assert rows["last_pane"][3] == "?"
    assert rows["set_pane"] == ["parry"]
    wide = run(*SHOW, "cold_frame", "wenna", columns=160).stdout
    assert "Ladder Hop" in wide
    assert "sun clog" in wide


def test_the_rows_of_one_move(run: Run) -> None:
    shown = run(*SHOW, "cold_frame", "wenna", "ladder_hop", columns=120).stdout
    cells = [[cell.strip() for cell in line.split("\u2502")] for line in shown.splitlines()]
    rows = {first: rest for first, *rest in cells}
    assert rows["airborne"][0] == "7-22"
    assert rows["hits[0].blockstun"] == ["15", "on_block - 1 + active + recovery"]
    assert rows["total"] == ["40", "first_active - 1 + active + recovery"]
    assert rows["crouching"][0] == "-"
    guard = run(*SHOW, "cold_frame", "wenna", "guard", columns=120).stdout
    assert "frames 1+, guards crouching; standing" in guard
    lift = run(*SHOW, "cold_frame", "wenna", "grozing_lift", columns=120).stdout
    assert any("pushback_hit" in line and line.split("\u2502")[1].strip() == "?" for line in lift.splitlines())


def test_help_names_every_command_and_option() -> None:
    assert CliRunner().invoke(main, ["-h"]).stdout == CliRunner().invoke(main, ["--help"]).stdout
    top = CliRunner().invoke(main, ["--help"]).stdout
    assert "organiser's" in top
    for name, command in main.commands.items():
        assert f"\n  {name}" in top
        result = CliRunner().invoke(main, [name, "--help"], env={"COLUMNS": "110"})
        assert result.exit_code == 0
        for parameter in command.params:
            names = [*parameter.opts, *parameter.secondary_opts] if parameter.param_type_name == "option" else []
            assert all(option in result.stdout for option in names)
            assert not names or getattr(parameter, "help", None), names
    assert {"ask", "show", "check", "serve"} < set(main.commands)


def test_version(run: Run) -> None:
    result = run("--version")
    assert result.exit_code == 0
    assert "version" in result.stdout
