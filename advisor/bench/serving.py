"""Requests a second of POST advice against an endpoint that only decodes and encodes the same bodies."""

from __future__ import annotations

import asyncio
import json
import socket
import subprocess
import sys
import time
from typing import Any

import msgspec
from litestar import Litestar, Request, Response, post

from advisor.advice import Advice
from advisor.facts.question import Question
from advisor.library import load_library
from advisor.service.app import create_app
from advisor.service.settings import Settings
from advisor.service.work import load_settings

__all__ = ["create", "requests"]

_BODY = json.dumps(
    {
        "me": {"character": "wenna"},
        "them": {"character": "marl"},
        "moment": {"kind": "blocked", "attacker": "them", "move": "cinder_knee"},
        "distance": "touching",
    }
).encode()


def create() -> Litestar:
    """The service with one more route, which decodes a question and encodes a ready answer."""
    settings = Settings(workers=2)
    library = load_settings(settings)
    answer: Advice = library.ask(msgspec.json.decode(_BODY, type=Question))

    @post("/bench/echo", status_code=200, include_in_schema=False)
    async def echo(request: Request[Any, Any, Any]) -> Response[bytes]:
        msgspec.json.decode(await request.body(), type=Question)
        return Response(msgspec.json.encode(answer), media_type="application/json")

    app = create_app(settings, library)
    app.register(echo)
    return app


def requests(seconds: float) -> None:
    """Start the real server, load both routes in turn, print requests a second and the ratio."""
    load_library(engine="plain")
    port = _free_port()
    command = [
        sys.executable, "-m", "uvicorn", "--factory", "advisor.bench.serving:create", "--port", str(port),
        "--log-level", "warning",
    ]
    server = subprocess.Popen(command)
    try:
        _wait(port)
        rates: dict[str, list[float]] = {"/v1/advice": [], "/bench/echo": []}
        for _ in range(3):
            for path, found in rates.items():
                found.append(asyncio.run(_load(port, path, seconds / 3)))
        advice, echo = (sorted(r)[1] for r in rates.values())
        print("\nserver, 8 connections, two workers, client on the same two cores")
        print(f"  POST advice                      {advice:8.0f} requests/s")
        print(f"  decode and encode the same bodies {echo:7.0f} requests/s")
        print(f"  ratio {advice / echo:.3f}")
    finally:
        server.terminate()
        server.wait(timeout=10)


def _free_port() -> int:
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return int(s.getsockname()[1])


def _wait(port: int) -> None:
    for _ in range(300):
        try:
            socket.create_connection(("127.0.0.1", port), timeout=1).close()
        except OSError:
            time.sleep(0.1)
        else:
            return
    raise RuntimeError("the server did not start")


async def _load(port: int, path: str, seconds: float, connections: int = 8) -> float:
    """Requests a second over keep-alive connections."""
    until = time.perf_counter() + seconds
    head = (
        f"POST {path} HTTP/1.1\r\nHost: bench\r\nContent-Type: application/json\r\n"
        f"Content-Length: {len(_BODY)}\r\n\r\n"
    ).encode()

    async def client() -> int:
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        done = 0
        while time.perf_counter() < until:
            writer.write(head + _BODY)
            await writer.drain()
            header = await reader.readuntil(b"\r\n\r\n")
            if not header.startswith(b"HTTP/1.1 200"):
                raise RuntimeError(header.decode(errors="replace"))
            length = int(header.lower().split(b"content-length:")[1].split(b"\r\n")[0])
            await reader.readexactly(length)
            done += 1
        writer.close()
        return done

    start = time.perf_counter()
    counts = await asyncio.gather(*(client() for _ in range(connections)))
    return sum(counts) / (time.perf_counter() - start)
