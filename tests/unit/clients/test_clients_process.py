"""The command as a process of its own: exit codes, streams, pipes and terminals, and the same answer as the server."""

from __future__ import annotations

import json
import os
import pty
import subprocess
import sys

import httpx
import msgspec
import pytest

from advisor.advice import Advice
from advisor.rules.engine import engine_available

COMMAND = [sys.executable, "-m", "advisor.clients.cli"]
ASKED = ["ask", "wenna", "marl", "--i-blocked", "cinder_knee", "--at", "touching"]
TERMINAL = ("COLUMNS", "FORCE_COLOR", "NO_COLOR")
PLAIN = {k: v for k, v in os.environ.items() if not k.startswith("ADVISOR_") and k not in TERMINAL}


def run(*words: str, **environ: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [*COMMAND, *words], capture_output=True, encoding="utf-8", timeout=60, env={**PLAIN, **environ}, check=False
    )


def test_piped_json_is_the_advice_with_the_engine_at_hand() -> None:
    done = run(*ASKED, "--json")
    assert (done.returncode, done.stderr) == (0, "")
    advice = msgspec.json.decode(done.stdout, type=Advice)
    assert advice.responses[0].verdict == "guaranteed"
    assert advice.pack.evaluator == ("durable" if engine_available() else "plain")


def test_piped_text_has_no_colour_and_eighty_columns() -> None:
    done = run(*ASKED, "--engine", "plain", "--why")
    assert (done.returncode, done.stderr) == (0, "")
    assert "\x1b" not in done.stdout
    assert max(map(len, done.stdout.splitlines())) <= 80


def test_a_terminal_has_colour_and_its_own_width() -> None:
    main, other = pty.openpty()
    process = subprocess.Popen(
        [*COMMAND, *ASKED, "--engine", "plain", "--limit", "2"], stdout=other, stderr=other,
        env={**PLAIN, "TERM": "xterm-256color", "COLUMNS": "60"},
    )  # fmt: skip
    os.close(other)
    shown = b""
    try:
        while piece := os.read(main, 4096):
            shown += piece
    except OSError:  # a closed terminal reads as an input/output error
        pass
    os.close(main)
    assert process.wait(30) == 0
    assert b"\x1b[1m" in shown


def test_an_ascii_terminal_is_served_too() -> None:
    done = run("show", "cold_frame", "wenna", "--engine", "plain", PYTHONIOENCODING="ascii", COLUMNS="120")
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.isascii()
    assert "ladder_hop" in done.stdout


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (["--help"], 0), (["show", "--engine", "plain"], 0),
        (["ask", "wena", "marl", "--neutral", "--engine", "plain"], 2),
        (["ask", "wenna"], 2), (["nonsense"], 2), (["show", "zz", "--json", "--engine", "plain"], 2),
    ],
)  # fmt: skip
def test_exit_codes_and_streams(words: list[str], code: int) -> None:
    done = run(*words)
    assert done.returncode == code
    assert bool(done.stdout) == (code == 0)
    assert bool(done.stderr) == (code != 0)
    assert "Traceback" not in done.stderr
    if "--json" in words:
        assert json.loads(done.stderr)["code"] == "pack-unknown"


def test_the_command_and_the_server_give_the_same_answer() -> None:
    asked = run(*ASKED, "--replies", "key", "--limit", "5", "--sources", "--json")
    body = {
        "me": {"character": "wenna"}, "them": {"character": "marl"}, "distance": "touching", "limit": 5,
        "sources": True, "replies": "key", "moment": {"kind": "blocked", "attacker": "them", "move": "cinder_knee"},
    }  # fmt: skip
    with subprocess.Popen(
        [*COMMAND, "serve", "--port", "0", "--workers", "1"], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
        text=True, env=PLAIN,
    ) as server:  # fmt: skip
        try:
            assert server.stdout is not None
            url = server.stdout.readline().split()[-1]
            response = httpx.post(f"{url}/v1/advice", json=body, timeout=30)
        finally:
            server.terminate()
    assert response.status_code == 200
    assert json.loads(asked.stdout) == response.json()
    assert len(response.json()["responses"]) == 5
