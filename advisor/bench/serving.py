"""POST advice: kept answers against an endpoint that only decodes and encodes the same bodies; else two workers to one.

The load is `wrk` on the same machine; servers take turns, so that whatever else runs troubles all of them alike.
Requests a second still hang on who else wants the processors; the processor time of the server for a request does less.
"""

from __future__ import annotations

import re
import shutil
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, NamedTuple

import msgspec
import uvicorn
from litestar import Litestar, Request, Response, post

from advisor.advice import Advice
from advisor.errors import AdvisorError
from advisor.facts.question import Question
from advisor.service.server import listen, run
from advisor.service.settings import Settings
from advisor.service.tasks import TASKS
from advisor.service.work import load_settings

if TYPE_CHECKING:
    import psutil

__all__ = ["requests"]

ROUNDS, CONNECTIONS = 3, 16
EXAMPLE = TASKS["advice"].example
KEPT = """wrk.method = "POST"
wrk.headers["Content-Type"] = "application/json"
wrk.body = [==[{body}]==]
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


def _serve(name: str) -> None:
    """Serve ``echo`` or the service with that many workers, and say where."""

    def say(text: str) -> None:
        print(text, flush=True)

    if name != "echo":
        run(Settings(port=0, workers=int(name), log="off"), say=say)
        return
    bound = listen("127.0.0.1", 0)
    say(f"listening on http://127.0.0.1:{bound.getsockname()[1]}")
    uvicorn.Server(uvicorn.Config(_echo(), log_level="critical", access_log=False)).run(sockets=[bound])


class Rate(NamedTuple):
    """Requests a second, and processor time of the process that speaks HTTP for each, microseconds."""

    requests: float
    took: float


class Server(NamedTuple):
    """A server: its address, and its process."""

    address: str
    process: psutil.Process


@contextmanager
def _server(name: str) -> Iterator[Server]:
    """A server in a process of its own."""
    import psutil

    with subprocess.Popen([sys.executable, "-m", "advisor.bench.serving", name], stdout=subprocess.PIPE) as process:
        assert process.stdout is not None
        said = process.stdout.readline().decode()
        try:
            yield Server(said.removeprefix("listening on ").strip(), psutil.Process(process.pid))
        finally:
            process.terminate()


def _rate(wrk: str, server: Server, script: str, seconds: float) -> Rate:
    """How fast it is. Errors: ``AdvisorError`` when a request failed."""
    before = sum(server.process.cpu_times()[:2])
    with tempfile.NamedTemporaryFile("w", suffix=".lua") as file:
        file.write(script)
        file.flush()
        command = [wrk, "-t1", f"-c{CONNECTIONS}", f"-d{max(1, round(seconds))}s", "-s", file.name]
        command.append(f"{server.address}/v1/advice")
        said = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    if "Non-2xx" in said or "Socket errors" in said:
        raise AdvisorError("fault", f"some requests failed:\n{said}")
    count = int(re.findall(r"(\d+) requests in", said)[0])
    took = (sum(server.process.cpu_times()[:2]) - before) / count * 1e6
    return Rate(float(re.findall(r"Requests/sec:\s+([\d.]+)", said)[0]), took)


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
    # Health ends at 100 000 points; each turn has numbers of its own.
    fresh = [_varied_script(1_000 + 30_000 * turn) for turn in range(ROUNDS)]
    with _server("1") as first, _server("2") as second:
        rates = _turns(wrk, {"one": first, "two": second}, fresh, seconds)
    one, two = rates["one"], rates["two"]
    print(f"  nothing kept, one worker          {one.requests:7.0f} requests/s")
    print(f"  nothing kept, two workers         {two.requests:7.0f} requests/s")
    print(f"  ratio {two.requests / one.requests:.2f} (goal: at least 1.7)")


if __name__ == "__main__":
    _serve(sys.argv[1])
