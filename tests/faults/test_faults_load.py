"""An hour of everything at once, pressed into a minute: nothing fails, nothing is wrong, and nothing piles up.

Ten kinds of callers (``mixed_load``) ask two phases long. In the first everything is loaded and kept that ever will be,
and the data are read again; in the second memory may not rise any more.
"""

from __future__ import annotations

import os
import signal
import statistics
import threading
import time
from collections.abc import Callable
from itertools import combinations
from pathlib import Path
from typing import NamedTuple

import psutil
import pytest
from mixed_load import KINDS, STEADY, Mixed
from test_faults_processes import Service, gone, reload, serving

from tests.unit.service.live_streams import Stream

pytestmark = pytest.mark.full

WARM = 60
"""Pictures that are drawn before memory counts: what draws them grows for that long, and then no more."""
LAST = float(os.environ.get("LOAD_SECONDS", "30"))
"""Seconds of the second phase."""
RELOADS = 2
RISE, RISE_ALL = 4.0, 20.0
"""MiB by which the server, and all processes together, may rise over the second phase, by the median of the slopes.

What draws pictures still grows a little (1 to 10 MiB were seen); the server, which sees every request, by less than 1.
"""
SAMPLE = 0.5
SLACK = 3
"""Files and threads that a library may have opened for good only now."""
SMALL = {"cache": 1, "jobs": 8, "channel_history": 10, "body_seconds": 1, "heartbeat": 1}
"""Bounds that are reached within the first phase, so that what comes later is not what is merely being kept."""


class Held(NamedTuple):
    """What all processes of a service hold; memory in MiB, resident."""

    server: float
    memory: float
    files: int
    threads: int
    processes: int

    @classmethod
    def by(cls, service: Service) -> Held:
        found = [psutil.Process(service.process.pid), *service.all()]
        each = [(p.memory_info().rss / 2**20, p.num_fds(), p.num_threads()) for p in found]
        memory, files, threads = map(sum, zip(*each, strict=True))
        return cls(each[0][0], memory, int(files), int(threads), len(found))


def eventually(holds: Callable[[], bool], within: float = 30) -> None:
    until = time.monotonic() + within
    while not holds():
        assert time.monotonic() < until
        time.sleep(0.05)


def settled(service: Service) -> Held:
    """What it holds when nobody asks but the one who follows, and the one who looks: nothing else is under way."""
    eventually(lambda: service.metric("advisor_requests_in_flight") == 2)
    eventually(lambda: service.metric("advisor_live_subscribers") == 1)
    time.sleep(1)
    assert [p for p in service.all() if p.status() == psutil.STATUS_ZOMBIE] == []
    return Held.by(service)


def sample(service: Service, seconds: float) -> dict[float, Held]:
    """What is held, by time."""
    began, found = time.monotonic(), {}
    while (at := time.monotonic() - began) < seconds:
        found[at] = Held.by(service)
        time.sleep(SAMPLE)
    return found


def rise(samples: dict[float, float]) -> float:
    """By how much it rises, by the median of the slopes of all pairs (Theil and Sen), which outliers do not move."""
    slopes = [(samples[b] - samples[a]) / (b - a) for a, b in combinations(samples, 2)]
    return statistics.median(slopes) * (max(samples) - min(samples))


class Follower(threading.Thread):
    """Reads the steady channel from begin to end."""

    def __init__(self, port: int) -> None:
        super().__init__(name="follower")
        self.ids: list[str] = []
        self.stream = Stream(port, STEADY)

    def run(self) -> None:
        with self.stream:
            while (got := self.stream.next()) is not None:
                if got.event == "advice":
                    self.ids.append(got.id)


def test_an_hour_of_everything_leaves_nothing_behind(tmp_path: Path) -> None:
    with serving(tmp_path, workers=2, engine="auto", **SMALL) as service:
        load = Mixed(*service.address)
        follower = Follower(service.address[1])
        follower.start()
        load.start(pictures=3)
        for version in range(2, 2 + RELOADS):
            time.sleep(2)
            service.edit(version)
            with load.pair:
                assert reload(service).status_code == 200
        drawn = load.done["pictures"]  # the workers are new
        eventually(lambda: load.done["pictures"] >= drawn + WARM or bool(load.wrong), within=120)
        load.stop()
        before, warm = settled(service), load.done.copy()
        load.start()
        samples = sample(service, LAST)
        load.stop()
        after, done = settled(service), load.done - warm
        risen = rise({at: held.server for at, held in samples.items()})
        in_all = rise({at: held.memory for at, held in samples.items()})
        print(f"{dict(done)}, refused {dict(load.refusals)}; {before} -> {after}")
        print(f"the server rises by {risen:.1f} MiB of {RISE:.0f}, all processes by {in_all:.1f} of {RISE_ALL:.0f}")
        assert load.wrong == []
        assert all(done[name] >= 10 for name in KINDS), done
        assert done["addresses 304"] > 10
        assert done["malformed 4xx"] > 50
        assert sum(load.refusals.values()) < sum(done.values()) / 20, "a refusal is the exception"
        assert risen < RISE
        assert in_all < RISE_ALL
        assert after.files <= before.files + SLACK
        assert after.threads <= before.threads + SLACK
        assert after.processes == before.processes
        eventually(lambda: follower.ids[-1] == load.states[-1])
        # A reload tells what is shown once more; apart from that it is what was submitted.
        numbers = [int(one.partition("-")[2]) for one in follower.ids]
        assert numbers == sorted(set(numbers)), "in order, and none twice"
        assert len(load.states) <= len(follower.ids) <= len(load.states) + RELOADS
        assert [one for one in follower.ids if one in set(load.states)] == load.states
        below = service.all()
        service.process.send_signal(signal.SIGTERM)
        assert service.process.wait(10) == 0
        gone(below, within=1)
        follower.join(10)
        assert not follower.is_alive(), "the end is told to those who listen"
        assert "Traceback" not in service.said()
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith("advisor-")] == [], "no copy is left"
