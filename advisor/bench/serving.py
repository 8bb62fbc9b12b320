"""Advice over HTTP: kept answers against an endpoint that only decodes and encodes the same bodies, and against those
that the caller has already (304); what nobody asked before, two workers to one; and what the processes hold.

The load is `wrk` on the same machine; servers take turns, so that whatever else runs troubles all of them alike.
Requests a second still hang on who else wants the processors; the processor time of the server for a request does less.
"""

from __future__ import annotations

import os
import re
import shutil
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, NamedTuple
from urllib.parse import quote

import httpx
import msgspec
import uvicorn
from litestar import Litestar, Request, Response, post

from advisor.advice import Advice
from advisor.errors import AdvisorError
from advisor.facts.question import Question
from advisor.service.running.server import listen
from advisor.service.settings import Settings
from advisor.service.weighing.tasks import TASKS
from advisor.service.weighing.work import load_settings

if TYPE_CHECKING:
    import psutil

__all__ = ["requests"]

ROUNDS, CONNECTIONS = 3, 16
EXAMPLE = TASKS["advice"].example
KEPT = """wrk.method = "POST"
wrk.headers["Content-Type"] = "application/json"
wrk.body = [==[{body}]==]
"""
KNOWN = """wrk.path = "{path}"
wrk.headers["If-None-Match"] = [==[{etag}]==]
"""
VARIED = """wrk.method = "POST"
wrk.headers["Content-Type"] = "application/json"
local before, after = [==[{before}]==], [==[{after}]==]
local count = {start}
request = function()
  count = count + 1
  return wrk.format(nil, nil, nil, before .. count .. after)
end
"""
"""A question that nobody asked before each time: the health of a side changes, and with it nothing that takes time."""


def _echo() -> Litestar:
    """The same framework with nothing around it: a question is decoded, a ready answer is encoded."""
    body = msgspec.json.encode(EXAMPLE)
    answer: Advice = load_settings(Settings(engine="plain")).ask(msgspec.json.decode(body, type=Question))

    @post("/v1/advice", status_code=200)
    async def echo(request: Request[Any, Any, Any]) -> Response[bytes]:
        msgspec.json.decode(await request.body(), type=Question)
        return Response(msgspec.json.encode(answer), media_type="application/json")

    return Litestar(route_handlers=[echo], openapi_config=None, logging_config=None)


def _serve_echo() -> None:
    """Serve ``echo``, and say where."""
    bound = listen("127.0.0.1", 0)
    print(f"listening on http://127.0.0.1:{bound.getsockname()[1]}", flush=True)
    uvicorn.Server(uvicorn.Config(_echo(), log_level="critical", access_log=False)).run(sockets=[bound])


class Rate(NamedTuple):
    """Requests a second, and processor time for each, microseconds: of who speaks HTTP, and of its workers."""

    requests: float
    took: float
    weighed: float = 0.0


class Server(NamedTuple):
    """A server: its address, and its process."""

    address: str
    process: psutil.Process

    def spent(self) -> tuple[float, float]:
        """Processor time so far, seconds: of the server, and of its workers."""
        below = (sum(child.cpu_times()[:2]) for child in self.process.children(recursive=True))
        return sum(self.process.cpu_times()[:2]), sum(below)

    def held(self) -> list[float]:
        """Resident memory of the server and of each process of its own, MiB."""
        return [p.memory_info().rss / 2**20 for p in (self.process, *self.process.children(recursive=True))]


@contextmanager
def _server(name: str) -> Iterator[Server]:
    """``echo``, or the service with that many workers, in a process of its own."""
    import psutil

    words = ["advisor.bench.serving"]
    if name != "echo":
        words = ["advisor.clients.cli", "serve", "--port", "0", "--workers", name]
    quiet = {**os.environ, "ADVISOR_LOG": "off"}
    with subprocess.Popen([sys.executable, "-m", *words], stdout=subprocess.PIPE, env=quiet) as process:
        assert process.stdout is not None
        said = process.stdout.readline().decode()
        try:
            yield Server(said.removeprefix("listening on ").strip(), psutil.Process(process.pid))
        finally:
            process.terminate()


def _rate(wrk: str, server: Server, script: str, seconds: float) -> Rate:
    """How fast it is. Errors: ``AdvisorError`` when a request failed."""
    before = server.spent()
    with tempfile.NamedTemporaryFile("w", suffix=".lua") as file:
        file.write(script)
        file.flush()
        command = [wrk, "-t1", f"-c{CONNECTIONS}", f"-d{max(1, round(seconds))}s", "-s", file.name]
        command.append(f"{server.address}/v1/advice")
        said = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    if "Non-2xx" in said or "Socket errors" in said:
        raise AdvisorError("fault", f"some requests failed:\n{said}")
    count = int(re.findall(r"(\d+) requests in", said)[0])
    took, weighed = ((now - then) / count * 1e6 for now, then in zip(server.spent(), before, strict=True))
    return Rate(float(re.findall(r"Requests/sec:\s+([\d.]+)", said)[0]), took, weighed)


def _known_script(server: Server) -> str:
    """A caller who has the answer, and asks whether it still holds."""
    path = "/v1/advice?question=" + quote(msgspec.json.encode(EXAMPLE).decode())
    etag = httpx.get(server.address + path).raise_for_status().headers["etag"]
    return KNOWN.replace("{path}", path).replace("{etag}", etag)


def _kept_script() -> str:
    return KEPT.replace("{body}", msgspec.json.encode(EXAMPLE).decode())


def _varied_script(start: int) -> str:
    varied = {**EXAMPLE, "them": {**EXAMPLE["them"], "health": 777_777}}
    before, after = msgspec.json.encode(varied).decode().split("777777")
    return VARIED.replace("{before}", before).replace("{after}", after).replace("{start}", str(start))


def _turns(wrk: str, servers: dict[str, Server], scripts: list[str], seconds: float) -> dict[str, Rate]:
    """Median rates by server, the servers taking turns; each turn has its script."""
    found: dict[str, list[Rate]] = {name: [] for name in servers}
    for script in scripts:
        for name, server in servers.items():
            found[name].append(_rate(wrk, server, script, seconds / len(scripts)))
    return {name: Rate(*map(statistics.median, zip(*rates, strict=True))) for name, rates in found.items()}


def _known(wrk: str, seconds: float) -> None:
    """Kept answers, and those that the caller has, on one server by turns."""
    with _server("2") as server:
        known, kept = _known_script(server), _kept_script()
        rates: dict[str, list[Rate]] = {known: [], kept: []}
        for script in (known, kept) * ROUNDS:
            rates[script].append(_rate(wrk, server, script, seconds / ROUNDS))
        held = server.held()
    fast, whole = (Rate(*map(statistics.median, zip(*rates[script], strict=True))) for script in (known, kept))
    print(f"  answers that the caller has (304) {fast.requests:7.0f} requests/s {fast.took:6.0f} us each")
    print(f"  kept answers on that server       {whole.requests:7.0f} requests/s {whole.took:6.0f} us each")
    print(f"  ratio {fast.requests / whole.requests:.2f}, of processor time {whole.took / fast.took:.2f}")
    print(f"  resident memory, MiB: server {held[0]:.0f}, its processes {', '.join(f'{one:.0f}' for one in held[1:])}")


def requests(seconds: float) -> None:
    """Measure each server for ``seconds``, print requests a second and the ratios."""
    wrk = shutil.which("wrk")
    if wrk is None:
        print("\nserver: wrk is not installed, so nothing was measured")
        return
    print(f"\nserver, POST advice, {CONNECTIONS} connections, wrk on the same cores")
    with _server("2") as service, _server("echo") as echo:
        rates = _turns(wrk, {"kept": service, "echo": echo}, [_kept_script()] * ROUNDS, seconds)
    kept, bare = rates["kept"], rates["echo"]
    print(f"  kept answers                      {kept.requests:7.0f} requests/s {kept.took:6.0f} us each")
    print(f"  decode and encode the same bodies {bare.requests:7.0f} requests/s {bare.took:6.0f} us each")
    ratio, of_time = kept.requests / bare.requests, bare.took / kept.took
    print(f"  ratio {ratio:.2f}, of processor time {of_time:.2f} (goal: at least 0.7)")
    _known(wrk, seconds)
    # Health ends at 100 000 points; each turn has numbers of its own.
    fresh = [_varied_script(1_000 + 30_000 * turn) for turn in range(ROUNDS)]
    with _server("1") as first, _server("2") as second:
        rates = _turns(wrk, {"one": first, "two": second}, fresh, seconds)
    one, two = rates["one"], rates["two"]
    for name, rate in (("one worker ", one), ("two workers", two)):
        print(
            f"  nothing kept, {name}         {rate.requests:7.0f} requests/s {rate.took:6.0f} us each, "
            f"{rate.weighed:.0f} us of a worker"
        )
    ratio = two.requests / one.requests
    # Cores that share a cache or a socket with others do not weigh as fast when both do.
    alike = ratio * two.weighed / one.weighed
    print(f"  ratio {ratio:.2f} (goal: at least 1.7); had a weighing cost the same with both at work: {alike:.2f}")


if __name__ == "__main__":
    _serve_echo()
