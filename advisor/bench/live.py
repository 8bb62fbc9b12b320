"""How long an update of a live channel takes to reach thousands of subscribers, and what it costs everybody else.

The server and its worker share one core (Linux); subscribers, and the light requests that are timed meanwhile, are in
processes of their own on the other cores, the latter with a higher priority where that is allowed, so that it is the
server that is measured. Seconds everywhere are of the one clock that all processes of a machine share.
"""

from __future__ import annotations

import asyncio
import http.client
import json
import multiprocessing
import os
import resource
import shutil
import subprocess
import sys
import threading
import time
from collections import Counter
from contextlib import suppress
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from advisor.service.weighing.tasks import TASKS

__all__ = ["run"]

SUBSCRIBERS = 2000
UPDATES = 20
PAUSE = 1.0
"""Seconds between two updates."""
LATEST = 30.0
"""Seconds after the last update in which stragglers are waited for."""
CALLERS, EVERY = 20, 0.2
"""Who sends light requests, each over a connection of its own, and seconds between two of one caller."""
CHANNEL = "bench"
END = b"}\n\n"
"""How an event ends, and nothing else does."""
GOAL, LIGHT_GOAL = 1.0, 0.05


def run(subscribers: int = SUBSCRIBERS, updates: int = UPDATES) -> None:
    """Start the server, let the subscribers come, submit states, print what was measured."""
    _, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    resource.setrlimit(resource.RLIMIT_NOFILE, (hard, hard))
    pin = ["taskset", "-c", "0"] if shutil.which("taskset") else []
    serve = [sys.executable, "-m", "advisor.clients.cli", "serve", "--port", "0", "--workers", "1"]
    server = subprocess.Popen(
        [*pin, *serve], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
        env={**os.environ, "ADVISOR_LOG": "off"},
    )  # fmt: skip
    try:
        assert server.stdout is not None
        port = int(server.stdout.readline().rpartition(":")[2])
        # A server whose output nobody reads comes to a stop.
        threading.Thread(target=server.stdout.read, daemon=True).start()
        print(f"\nlive channel, {subscribers} subscribers, {updates} updates, server and worker on one core")
        _measure(port, server.pid, subscribers, updates)
    finally:
        server.terminate()
        server.wait(10)


def _measure(port: int, server: int, subscribers: int, updates: int) -> None:
    spawn = multiprocessing.get_context("spawn")
    crowd_pipe, crowd_end = spawn.Pipe()
    light_pipe, light_end = spawn.Pipe()
    crowd = spawn.Process(target=_crowd, args=(crowd_end, port, subscribers), daemon=True)
    light = spawn.Process(target=_light, args=(light_end, port), daemon=True)
    crowd.start()
    light.start()
    crowd_pipe.recv()
    quiet = _lights(light_pipe, PAUSE * 3)
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
    sent: list[float] = []
    size = 0
    light_pipe.send("go")
    before = _spent(server)
    for i in range(updates):
        body = json.dumps({"question": TASKS["advice"].example, "note": str(i)})
        sent.append(time.monotonic())
        connection.request("POST", f"/v1/live/{CHANNEL}", body, {"Content-Type": "application/json"})
        answer = connection.getresponse()
        size = len(answer.read())
        assert answer.status == 200
        time.sleep(max(0.0, sent[-1] + PAUSE - time.monotonic()))
    time.sleep(PAUSE)
    spent = (_spent(server) - before) / updates
    light_pipe.send("stop")
    busy = sorted(light_pipe.recv())
    crowd_pipe.send(updates)
    arrivals: list[list[float]] = crowd_pipe.recv()
    crowd.join(10)
    light_pipe.send("end")
    light.join(10)
    complete = [times for times in arrivals if len(times) == updates]
    if len(complete) < subscribers:
        print(f"  updates: subscribers that got so many: {dict(Counter(map(len, arrivals)))}")
    if not complete:
        raise RuntimeError(f"nobody got all {updates} updates within {LATEST:.0f} s")
    took = sorted(at - sent[i] for times in complete for i, at in enumerate(times))
    whole = sorted(max(times[i] for times in complete) - sent[i] for i in range(updates))
    print(f"  event of {size} bytes; subscribers that got all: {len(complete)} of {subscribers}")
    print(f"  from submitting to arrival:         {_shown(took)} (goal: p99 under {GOAL:.0f} s)")
    print(f"  until the last subscriber has it:   {_shown(whole)}")
    print(f"  processor time of the server for an update, light requests included: {spent * 1000:.0f} ms")
    print(f"  light requests while nothing comes: {_shown(quiet)}")
    print(f"  light requests while updates come:  {_shown(busy)} (goal: p99 under {LIGHT_GOAL * 1000:.0f} ms)")


def _spent(process: int) -> float:
    """Processor time of a process, seconds; workers not included."""
    fields = Path(f"/proc/{process}/stat").read_text("ascii").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def _shown(times: list[float]) -> str:
    middle, high = times[len(times) // 2], times[min(len(times) - 1, len(times) * 99 // 100)]
    return f"p50 {middle * 1000:7.1f} ms, p99 {high * 1000:7.1f} ms, most {times[-1] * 1000:7.1f} ms"


def _lights(pipe: Connection, seconds: float) -> list[float]:
    """Times of light requests over some seconds, sorted."""
    pipe.send("go")
    time.sleep(seconds)
    pipe.send("stop")
    return sorted(pipe.recv())


def _elsewhere() -> None:
    cores = os.sched_getaffinity(0) - {0}
    if cores:
        os.sched_setaffinity(0, cores)


def _light(pipe: Connection, port: int) -> None:
    """Time light requests between `go` and `stop`."""
    _elsewhere()
    with suppress(OSError):
        os.nice(-10)
    times: list[float] = []
    going = False

    async def caller(first: float) -> None:
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        due = time.monotonic() + first
        while going:
            await asyncio.sleep(max(0.0, due - time.monotonic()))
            writer.write(b"GET /v1/health/live HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
            head = await reader.readuntil(b"\r\n\r\n")
            await reader.readexactly(int(head.lower().split(b"content-length:")[1].split(b"\r\n")[0]))
            # Counted from when it was due: one that has to wait for the one before it waits too.
            times.append(time.monotonic() - due)
            due += EVERY
        writer.close()

    async def callers() -> None:
        nonlocal going
        going = True
        all_of_them = asyncio.gather(*(caller(i * EVERY / CALLERS) for i in range(CALLERS)))
        await asyncio.to_thread(pipe.recv)
        going = False
        await all_of_them

    while pipe.recv() == "go":
        times.clear()
        asyncio.run(callers())
        pipe.send(times)


class _Subscriber(asyncio.Protocol):
    """Notes when an event has arrived whole, and does nothing else."""

    def __init__(self) -> None:
        self.times: list[float] = []
        self.open = asyncio.get_running_loop().create_future()
        self._tail = b""

    def connection_made(self, transport: Any) -> None:
        transport.write(f"GET /v1/live/{CHANNEL}/events HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n".encode())

    def data_received(self, data: bytes) -> None:
        if not self.open.done() and b"retry:" in data:
            self.open.set_result(None)
        data = self._tail + data
        self.times += [time.monotonic()] * data.count(END)
        self._tail = data[1 - len(END) :]


def _crowd(pipe: Connection, port: int, count: int) -> None:
    """Connect the subscribers, say so, and tell when the events came."""
    _elsewhere()

    async def gather() -> list[list[float]]:
        loop = asyncio.get_running_loop()
        members: list[_Subscriber] = []
        while len(members) < count:
            fresh = [
                (await loop.create_connection(_Subscriber, "127.0.0.1", port))[1]
                for _ in range(min(50, count - len(members)))
            ]
            await asyncio.gather(*(one.open for one in fresh))
            members += fresh
        pipe.send("there")
        updates = await asyncio.to_thread(pipe.recv)
        until = time.monotonic() + LATEST
        while time.monotonic() < until and any(len(one.times) < updates for one in members):
            await asyncio.sleep(0.1)
        return [one.times for one in members]

    pipe.send(asyncio.run(gather()))


if __name__ == "__main__":
    run()
