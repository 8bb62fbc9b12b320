"""The real ``advisor serve``: start, answers over a socket, clean end, clear errors."""

from __future__ import annotations

import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import httpx
import psutil
import pytest
from test_service_bodies import question

from advisor.library import bundled_rules
from advisor.rules.engine import engine_available

COMMAND = [sys.executable, "-m", "advisor.clients.cli", "serve"]
PLAIN = {k: v for k, v in os.environ.items() if not k.startswith("ADVISOR_")}


class Served:
    """A server process that answers at ``url``."""

    def __init__(self, *options: str) -> None:
        self.process = subprocess.Popen(
            [*COMMAND, "--port", "0", *options], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=PLAIN,
            start_new_session=True,
        )  # fmt: skip
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        assert line.startswith("listening on http://127.0.0.1:"), line + self.process.communicate()[1]
        self.url = line.split()[-1]

    def children(self) -> list[psutil.Process]:
        return psutil.Process(self.process.pid).children(recursive=True)

    def ask(self, **changes: Any) -> Any:
        return httpx.post(f"{self.url}/v1/advice", json=question(**changes), timeout=20).raise_for_status().json()


@contextmanager
def served(*options: str) -> Iterator[Served]:
    server = Served(*options)
    try:
        yield server
    finally:
        with server.process:
            server.process.kill()


def living(processes: list[psutil.Process]) -> list[psutil.Process]:
    """Those that still run after three seconds; one that only waits to be collected does not run."""
    until = time.monotonic() + 3
    while left := [p for p in processes if p.is_running() and p.status() != psutil.STATUS_ZOMBIE]:
        if time.monotonic() > until:
            return left
        time.sleep(0.02)
    return []


@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGINT])
def test_it_answers_and_ends_in_order(how: signal.Signals) -> None:
    with served("--workers", "2") as server:
        with httpx.Client() as client:  # a connection kept open must not hold up the end
            assert client.get(f"{server.url}/v1/health/live").json()["status"] == "alive"
            answer = server.ask()
            assert answer["pack"]["evaluator"] == ("durable" if engine_available() else "plain")
            children = server.children()
            assert len(children) >= 2
            started = time.monotonic()
            server.process.send_signal(how)
            assert server.process.wait(3) == 0
            assert time.monotonic() - started < 3
        assert living(children) == []
        assert server.process.stderr is not None
        assert "Traceback" not in server.process.stderr.read()


@pytest.mark.full
def test_ctrl_c_reaches_the_whole_group_and_nobody_complains() -> None:
    with served("--workers", "1", "--engine", "plain") as server:
        server.ask()
        children = server.children()
        os.killpg(server.process.pid, signal.SIGINT)
        assert server.process.wait(3) == 0
        assert living(children) == []
        assert server.process.stderr is not None
        said = server.process.stderr.read()
        assert "Traceback" not in said
        assert "KeyboardInterrupt" not in said


def test_no_worker_outlives_a_server_that_is_killed() -> None:
    with served("--workers", "2", "--engine", "plain") as server:
        children = server.children()
        server.process.kill()
        server.process.wait(3)
        assert living(children) == []


def test_a_worker_that_is_killed_is_told_by_liveness() -> None:
    with served("--workers", "1") as server:
        for child in server.children():
            if "spawn_main" in " ".join(child.cmdline()):
                child.kill()
                child.wait(3)
        until = time.monotonic() + 10
        while not (health := httpx.get(f"{server.url}/v1/health/live").json())["worker_losses"]:
            assert server.ask()["responses"][0]["verdict"] == "guaranteed"
            assert time.monotonic() < until
        assert health["worker_losses"] == 1
        assert server.ask()["responses"][0]["verdict"] == "guaranteed"


def test_errors_and_head_over_a_real_socket() -> None:
    with served("--workers", "0", "--engine", "plain") as server:
        url = f"{server.url}/v1/advice"
        json_type = {"content-type": "application/json"}
        large = httpx.post(url, content=(b" " * 10_000 for _ in range(10)), headers=json_type)
        assert (large.status_code, large.json()["code"]) == (413, "body-too-large")
        head = httpx.head(f"{server.url}/v1/packs")
        assert (head.status_code, head.content) == (200, b"")
        assert int(head.headers["content-length"]) > 100
        wrong = httpx.put(url)
        assert (wrong.status_code, wrong.headers["allow"]) == (405, "GET, HEAD, OPTIONS, POST")
        assert "server" not in wrong.headers
        with socket.create_connection(("127.0.0.1", int(server.url.rpartition(":")[2]))) as raw:
            raw.sendall(b"GET /v1/packs/%ff%00 HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n")
            assert b" 404 " in raw.makefile("rb").readline()


def run(*options: str, **environ: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [*COMMAND, *options], capture_output=True, text=True, timeout=30, env={**PLAIN, **environ}, check=False
    )


def test_an_address_in_use_is_a_clear_error() -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        done = run("--port", str(port), "--engine", "plain")
    assert done.returncode == 2
    assert done.stderr.splitlines() == [
        f"error[value-invalid]: cannot listen on `127.0.0.1:{port}`: address already in use",
        "help: choose another address with --host and --port, or stop what is listening there",
    ]
    assert done.stdout == ""


@pytest.mark.parametrize("host", ["nowhere.invalid", "192.0.2.1"])
def test_an_address_that_is_not_ours_is_a_clear_error(host: str) -> None:
    """192.0.2.0/24 is kept for documentation (RFC 5737), .invalid never resolves (RFC 2606)."""
    done = run("--host", host, "--port", "0", "--access", "open")
    assert done.returncode == 2
    assert done.stderr.startswith(f"error[value-invalid]: cannot listen on `{host}:0`: ")
    assert "Traceback" not in done.stderr


def test_a_faulty_pack_is_told_in_full_and_nothing_is_served(tmp_path: Path) -> None:
    pack = tmp_path / "cold_frame"
    shutil.copytree(bundled_rules() / "packs" / "cold_frame", pack)
    for name, wrong in (("wenna", "level: hihg"), ("marl", "level: mdi")):
        path = pack / "characters" / f"{name}.yaml"
        path.write_text(path.read_text("utf-8").replace("level: high", wrong, 1), encoding="utf-8")
    done = run("--port", "0", "--packs", str(pack))
    assert done.returncode == 2
    assert done.stdout == ""
    for name, near in (("wenna", "high"), ("marl", "mid")):
        path = pack / "characters" / f"{name}.yaml"
        lines = path.read_text("utf-8").splitlines()
        line = next(i for i, text in enumerate(lines, 1) if "level: hihg" in text or "level: mdi" in text)
        assert f"{path}:{line}:" in done.stderr
        assert f"did you mean `{near}`?" in done.stderr
    assert done.stderr.splitlines()[-1] == "2 fault(s)"
    assert "Traceback" not in done.stderr


def test_a_faulty_setting_ends_it() -> None:
    done = run(ADVISOR_PORT="http")
    assert done.returncode == 2
    assert done.stderr.splitlines()[0] == "error[value-invalid]: `ADVISOR_PORT` is `http`"


def test_settings_reach_the_server(tmp_path: Path) -> None:
    pack = tmp_path / "second"
    shutil.copytree(bundled_rules() / "packs" / "cold_frame", pack)
    text = (pack / "pack.yaml").read_text("utf-8").replace("id: cold_frame", "id: second", 1)
    (pack / "pack.yaml").write_text(text, encoding="utf-8")
    with served("--packs", str(pack), "--workers", "1", "--engine", "plain") as server:
        packs = httpx.get(f"{server.url}/v1/packs").json()["packs"]
        assert [(p["id"], p["default"]) for p in packs] == [("cold_frame", True), ("second", False)]
        assert server.ask(pack="second")["pack"]["id"] == "second"
        assert json.dumps(server.ask(pack="second")["responses"]) == json.dumps(server.ask()["responses"])
