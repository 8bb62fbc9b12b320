"""A Redis server of the test's own, which can be killed and started again, and service processes that use it."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import httpx
import redis

PLAIN = {k: v for k, v in os.environ.items() if not k.startswith("ADVISOR_")}


class RedisServer:
    """One that keeps its snapshot in a folder and writes it only when told to."""

    def __init__(self, folder: Path) -> None:
        program = shutil.which("redis-server")
        assert program, "these tests need redis-server"
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = int(free.getsockname()[1])
        self.url = f"redis://127.0.0.1:{self.port}/3"
        self._command = [
            program, "--port", str(self.port), "--save", "", "--dir", str(folder), "--bind", "127.0.0.1",
        ]  # fmt: skip
        self.start()

    def start(self) -> None:
        self.process = subprocess.Popen(self._command, stdout=subprocess.DEVNULL)
        self.client = redis.Redis(port=self.port, db=3)
        until = time.monotonic() + 10
        while True:
            try:
                self.client.ping()
                return
            except redis.ConnectionError:
                assert time.monotonic() < until
                time.sleep(0.02)

    def kill(self) -> None:
        self.client.close()
        self.process.kill()
        self.process.wait()


@contextmanager
def redis_server(folder: Path) -> Iterator[RedisServer]:
    server = RedisServer(folder)
    try:
        yield server
    finally:
        server.kill()


class ServiceProcess:
    """A service process with the settings that are given."""

    def __init__(self, **changed: Any) -> None:
        environ = {f"ADVISOR_{name.upper()}": str(value) for name, value in changed.items()}
        command = [sys.executable, "-m", "advisor.clients.cli", "serve", "--port", "0", "--workers", "0"]
        self.process = subprocess.Popen(
            [*command, "--engine", "plain"], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
            env={**PLAIN, **environ},
        )  # fmt: skip
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        assert line.startswith("listening on "), line + self.process.communicate()[1]
        self.url = line.split()[-1]
        self.port = int(self.url.rpartition(":")[2])

    def post(self, channel: str, body: Any) -> httpx.Response:
        return httpx.post(f"{self.url}/v1/live/{channel}", json=body, timeout=20)

    def show(self, channel: str, body: Any) -> str:
        return str(self.post(channel, body).raise_for_status().json()["id"])


@contextmanager
def service(**changed: Any) -> Iterator[ServiceProcess]:
    server = ServiceProcess(**changed)
    try:
        yield server
    finally:
        with server.process:
            server.process.kill()
