"""Writers that are killed, and writers that write at once: what was acknowledged is there, once."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import func, select, text

from advisor.notebook import Notebook
from advisor.notebook.tables import trials
from advisor.notebook.trial import situation_key

pytestmark = pytest.mark.full

WRITER = Path(__file__).with_name("writer.py")
ROOT = Path(__file__).parents[2]
KILLS = 200


class Writers:
    """Writers of one notebook; see ``writer.py``."""

    def __init__(self, url: str) -> None:
        self.process = subprocess.Popen(
            [sys.executable, str(WRITER), url], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, cwd=ROOT,
            env={**os.environ, "PYTHONPATH": str(ROOT)},
        )  # fmt: skip
        self.ids: dict[int, list[str]] = {}
        self.ready: set[int] = set()
        self.codes: dict[int, int] = {}
        self.started: list[int] = []

    def _hear(self) -> None:
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        assert line.endswith("\n"), "the writers' process is gone"
        words = line.split()
        if words[0] == "started":
            self.started.append(int(words[1]))
        elif words[1] == "ready":
            self.ready.add(int(words[0]))
        elif words[1] == "gone":
            self.codes[int(words[0])] = int(words[2])
        else:
            self.ids.setdefault(int(words[0]), []).append(words[2])

    def _say(self, line: str) -> None:
        assert self.process.stdin is not None
        self.process.stdin.write(f"{line}\n")
        self.process.stdin.flush()

    def start(self, most: int) -> int:
        """A new writer's process id."""
        count = len(self.started)
        self._say(f"start {most}")
        while len(self.started) == count:
            self._hear()
        return self.started[-1]

    def wait_ready(self, pid: int) -> None:
        """Until it has opened the notebook."""
        while pid not in self.ready:
            self._hear()

    def wait(self, pid: int) -> int:
        """Its exit code, once it is gone and all it said was heard."""
        self._say(f"wait {pid}")
        while pid not in self.codes:
            self._hear()
        return self.codes[pid]

    def close(self) -> None:
        """End the process they come from."""
        assert self.process.stdin is not None and self.process.stdout is not None
        self.process.stdin.close()
        self.process.wait()
        self.process.stdout.close()


@pytest.fixture
def writers(address: str) -> Iterator[Writers]:
    made = Writers(address)
    yield made
    made.close()


def test_killed_writers_lose_nothing_that_they_acknowledged(address: str, writers: Writers) -> None:
    rng = random.Random(20)
    Notebook(address).close()
    # Two writers live at any time, so that a kill also falls into another's waiting.
    for _ in range(KILLS // 2):
        pair = [writers.start(100_000) for _ in range(2)]
        for pid in pair:
            writers.wait_ready(pid)
        for pid in pair:
            time.sleep(rng.uniform(0, 0.06))
            os.kill(pid, signal.SIGKILL)
        assert [writers.wait(pid) for pid in pair] == [-signal.SIGKILL] * 2
    acknowledged = [one for ids in writers.ids.values() for one in ids]
    assert len(writers.codes) == KILLS
    with Notebook(address) as notebook, notebook.engine.connect() as connection:
        if notebook.engine.dialect.name == "sqlite":
            assert connection.execute(text("PRAGMA integrity_check")).scalar() == "ok"
        there = list(connection.execute(select(trials.c.id)).scalars())
    assert len(acknowledged) > KILLS
    assert len(acknowledged) == len(set(acknowledged))
    assert len(there) == len(set(there))
    assert set(acknowledged) <= set(there)
    # A kill may fall between the commit and the line that tells of it: at most one record each.
    assert len(there) - len(acknowledged) <= KILLS


def test_two_processes_at_once_lose_nothing(address: str, writers: Writers) -> None:
    pair = [writers.start(150) for _ in range(2)]
    assert [writers.wait(pid) for pid in pair] == [0, 0]
    ids = [one for each in writers.ids.values() for one in each]
    assert len(set(ids)) == 300
    with Notebook(address) as notebook, notebook.engine.connect() as connection:
        assert connection.execute(select(func.count()).select_from(trials)).scalar() == 300
        assert set(connection.execute(select(trials.c.id)).scalars()) == set(ids)
        key = situation_key(notebook.trials(limit=1).trials[0].situation)
        assert notebook.counted(key) == {("jab", None): (300, 600)}


def test_processes_that_open_a_new_notebook_at_once_make_it_once(address: str, writers: Writers) -> None:
    four = [writers.start(2) for _ in range(4)]
    assert [writers.wait(pid) for pid in four] == [0] * 4
    ids = [one for each in writers.ids.values() for one in each]
    with Notebook(address) as notebook:
        assert {t.id for t in notebook.trials().trials} == set(ids)
    assert len(ids) == 8
