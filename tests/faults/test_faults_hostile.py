"""Twenty thousand malformed and hostile requests: no answer of ours is a fault, none is missing, nothing leaks."""

from __future__ import annotations

import asyncio
import os
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterator

import hostile
import httpx
import psutil
import pytest

pytestmark = pytest.mark.full

COUNT = int(os.environ.get("HOSTILE_REQUESTS", "20000"))
CONNECTIONS = 6
PATIENCE = 30.0
"""Seconds within which every request is answered, or its connection closed by the server."""
WARM = 0.25
"""Share of the requests after which memory should have reached what it stays at."""
GROWTH = 24 * 2**20
"""Bytes that all processes together may grow by afterwards: allocators keep some, a leak of 2 kB a request is over."""


@pytest.fixture
def server() -> Iterator[tuple[subprocess.Popen[str], str]]:
    environ = {k: v for k, v in os.environ.items() if not k.startswith("ADVISOR_")}
    environ |= {"ADVISOR_LOG": "off", "ADVISOR_BODY_SECONDS": "1"}
    command = [sys.executable, "-m", "advisor.clients.cli", "serve", "--port", "0", "--workers", "1"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=environ) as process:
        try:
            assert process.stdout is not None
            yield process, process.stdout.readline().split()[-1]
        finally:
            process.kill()


async def _ask(host: str, port: int, share: list[bytes], statuses: Counter[str]) -> None:
    """Send the requests one after the other; ``statuses`` counts them, and connections that the server closed."""
    reader = writer = None
    for request in share:
        if writer is None:
            reader, writer = await asyncio.open_connection(host, port)
        assert reader is not None
        try:
            writer.write(request)
            status = await asyncio.wait_for(_status(reader, request), PATIENCE)
        except (ConnectionError, asyncio.IncompleteReadError):
            status = "closed"
        except TimeoutError:
            raise AssertionError(f"no answer to {request[:2_000]!r}") from None
        statuses[status] += 1
        # What follows a malformed length is anybody's guess; so is what the server made of it.
        writer.close()
        writer = None


async def _status(reader: asyncio.StreamReader, request: bytes) -> str:
    line = await reader.readline()
    if not line:
        return "closed"
    status = line.split()[1].decode()
    headers = {}
    while (line := await reader.readline()) not in (b"\r\n", b""):
        name, _, value = line.decode("latin-1").partition(":")
        headers[name.strip().lower()] = value.strip()
    length = int(headers.get("content-length", "0"))
    body = b"" if request.startswith(b"HEAD ") else await reader.readexactly(length)
    if status[0] == "5":
        assert status == "503" and headers.get("retry-after"), (status, request[:300], body[:500])
    if status[0] == "4" and body and status != "400":
        assert headers["content-type"] == "application/problem+json", (status, headers, request[:200])
    return status


def _memory(process: subprocess.Popen[str]) -> int:
    parent = psutil.Process(process.pid)
    return sum(p.memory_info().rss for p in [parent, *parent.children(recursive=True)])


def test_hostile_requests_are_answered_and_leave_nothing_behind(server: tuple[subprocess.Popen[str], str]) -> None:
    process, url = server
    host, port = url.removeprefix("http://").split(":")
    statuses: Counter[str] = Counter()
    made = list(hostile.requests(COUNT, seed=7, host=host))
    warm = int(COUNT * WARM)

    async def run(part: list[bytes]) -> None:
        await asyncio.gather(*(_ask(host, int(port), part[i::CONNECTIONS], statuses) for i in range(CONNECTIONS)))

    asyncio.run(run(made[:warm]))
    before = _memory(process)
    asyncio.run(run(made[warm:]))
    time.sleep(0.5)
    after = _memory(process)
    health = httpx.get(f"{url}/v1/health/live", timeout=5).json()
    print(f"{COUNT} requests: {dict(sorted(statuses.items()))}; memory {before / 2**20:.0f} -> {after / 2**20:.0f} MiB")
    assert sum(statuses.values()) == COUNT
    assert statuses["400"] > COUNT / 4 and statuses["200"] > 0, "most were refused, and some were good"
    assert health["status"] == "alive" and health["worker_losses"] == 0
    assert after - before < GROWTH
