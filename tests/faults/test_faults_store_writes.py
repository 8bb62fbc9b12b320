"""Writers whose store has no room, is stopped or hangs: each key ends as one record, and every way to write is told."""

from __future__ import annotations

import os
import re
import resource
import signal
import sqlite3
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import httpx
import psutil
import pytest
from test_faults_processes import Service, eventually, fresh, get, question, serving

from tests.notebook_faults.postgres import _run as run_as_owner
from tests.notebook_faults.postgres import programs, server

pytestmark = pytest.mark.full

BOTH = {"store-full", "store-unreachable"}
SLOWEST = 6.0
"""Seconds within which a caller hears of a store that is away, where its patience is three seconds."""
IMPATIENT = "import advisor.service.notes.store as s; s.PATIENCE = 3.0"
SMALL = """
from sqlalchemy import Engine, event
@event.listens_for(Engine, "connect")
def small(connection, _):
    connection.execute("PRAGMA max_page_count = 60")
"""
LINES = '{"set": "lines", "note": "%s"}\n' % ("n" * 2000)
MADE = "there before"


def trial(number: int) -> dict[str, Any]:
    return {
        "question": question(number % 50), "response": "putty_jab", "successes": 1, "tries": 2, "note": "n" * 500,
        "player": str(number),
    }  # fmt: skip


def write(client: httpx.Client, url: str, number: int) -> httpx.Response:
    return client.post(f"{url}/v1/trials", json=trial(number), headers={"idempotency-key": str(number)})


class Writers:
    """Callers who write trials, each over a connection of its own, and send each under its key until it is taken."""

    def __init__(self, url: str, callers: int = 4) -> None:
        self.url = url
        self.ids: dict[str, str] = {}
        self.refused: list[httpx.Response] = []
        self.slowest = 0.0
        self.wrong: list[str] = []
        self._ending = threading.Event()
        self._callers = [threading.Thread(target=self._write, args=(i * 10_000,)) for i in range(callers)]

    def __enter__(self) -> Writers:
        for caller in self._callers:
            caller.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._ending.set()
        for caller in self._callers:
            caller.join()

    def _write(self, number: int) -> None:
        with fresh() as client:
            try:
                while not self._ending.is_set():
                    number += 1
                    # What was begun is seen through, so that each key ends as one record.
                    while not self._taken(client, number):
                        time.sleep(0.02)
            except Exception as error:
                self.wrong.append(repr(error))

    def _taken(self, client: httpx.Client, number: int) -> bool:
        began = time.monotonic()
        response = write(client, self.url, number)
        self.slowest = max(self.slowest, time.monotonic() - began)
        if response.status_code == 201:
            self.ids[str(number)] = response.json()["id"]
            return True
        assert response.status_code == 503, response.text
        self.refused.append(response)
        return False

    def go_on(self, trials: int) -> None:
        """Wait until so many more are taken."""
        target = len(self.ids) + trials
        eventually(lambda: len(self.ids) >= target or bool(self.wrong))
        assert self.wrong == []

    def until_refused(self, more: int) -> None:
        """Wait until so many more are refused."""
        target = len(self.refused) + more
        eventually(lambda: len(self.refused) >= target or bool(self.wrong))
        assert self.wrong == []


def check_kept(url: str, ids: dict[str, str]) -> None:
    """What was acknowledged is there once, under the id that was told, and nothing beside it."""
    found: list[dict[str, Any]] = []
    query = {"limit": "1000"}
    while "after" not in query or query["after"]:
        page = get(f"{url}/v1/trials", params=query).raise_for_status().json()
        found += page["trials"]
        query["after"] = page["next"]
    assert len(found) == len(ids)
    assert {one["player"]: one["id"] for one in found} == ids


def check_told(responses: list[httpx.Response], codes: set[str]) -> None:
    assert responses
    for response in responses:
        assert response.status_code == 503, (response.request.url, response.text)
        problem = response.json()
        assert problem["code"] in codes and problem["help"], response.text
        assert int(response.headers["retry-after"]) > 0
        # Where the store is, and what it is made of, is no business of a caller.
        assert not re.search(r"sqlite|psycopg|postgres|/tmp|insert|traceback", response.text, re.IGNORECASE)


def writes(url: str) -> list[httpx.Response]:
    """What is answered to the other ways to write."""
    entry = {"name": "new", "request": question(0), "note": "n" * 2000}
    lines = {"content-type": "application/jsonl"}
    with fresh() as client:
        return [
            client.post(f"{url}/v1/sets", json={"name": "new", "note": "n" * 2000}),
            client.post(f"{url}/v1/sets/{MADE}/entries", json=entry),
            client.post(f"{url}/v1/sets/lines/lines", content=LINES, headers=lines),
            client.delete(f"{url}/v1/sets/{MADE}"),
        ]


def check_others(url: str) -> None:
    """What needs no store is answered."""
    with fresh() as client:
        assert client.get(f"{url}/v1/packs").status_code == 200
        assert client.post(f"{url}/v1/advice", json=question(0)).json()["responses"]


def prepare(url: str) -> None:
    """The set that is there before."""
    with fresh() as client:
        response = client.post(f"{url}/v1/sets", json={"name": MADE})
        assert response.status_code == 201, response.text
        entry = {"name": "first", "request": question(0)}
        response = client.post(f"{url}/v1/sets/{MADE}/entries", json=entry)
        assert response.status_code == 201, response.text


def check_set_untouched(url: str) -> None:
    with fresh() as client:
        assert [one["name"] for one in client.get(f"{url}/v1/sets").json()["sets"]] == [MADE]
        assert [one["name"] for one in client.get(f"{url}/v1/sets/{MADE}").json()["entries"]] == ["first"]


def check_sound(file: Path) -> None:
    connection = sqlite3.connect(file)
    assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    connection.close()


def test_a_store_of_bounded_size_refuses_what_has_no_room(tmp_path: Path) -> None:
    file = tmp_path / "notebook.sqlite"
    ids: dict[str, str] = {}
    refused: list[httpx.Response] = []
    with serving(tmp_path, workers=0, notebook=f"sqlite:///{file}", before=SMALL) as service:
        prepare(service.url)
        with fresh() as client:
            number = 0
            while len(refused) < 5:
                number += 1
                response = write(client, service.url, number)
                if response.status_code == 201:
                    ids[str(number)] = response.json()["id"]
                else:
                    refused.append(response)
        check_told(refused, {"store-full"})
        assert len(ids) > 10
        check_others(service.url)
        check_kept(service.url, ids)
        check_told(writes(service.url)[1:2], {"store-full"})
    check_sound(file)
    with serving(tmp_path, workers=0, notebook=f"sqlite:///{file}") as service, fresh() as client:
        for again in range(1, number + 1):
            response = write(client, service.url, again)
            assert response.status_code == 201, response.text
            assert ids.setdefault(str(again), response.json()["id"]) == response.json()["id"]
        check_kept(service.url, ids)


def limit(service: Service, most: int) -> None:
    """No file that the service writes grows beyond so many bytes."""
    for process in [psutil.Process(service.process.pid), *service.all()]:
        process.rlimit(resource.RLIMIT_FSIZE, (most, resource.RLIM_INFINITY))


def test_files_that_may_not_grow_are_survived_without_a_restart(tmp_path: Path) -> None:
    file = tmp_path / "notebook.sqlite"
    with serving(tmp_path, workers=1, notebook=f"sqlite:///{file}") as service:
        prepare(service.url)
        with Writers(service.url) as load:
            load.go_on(30)
            limit(service, max(one.stat().st_size for one in tmp_path.glob("notebook.sqlite*")))
            try:
                load.until_refused(40)
                taken = len(load.ids)
                check_told(writes(service.url), BOTH)
                check_others(service.url)
                check_set_untouched(service.url)
                load.until_refused(4)
                assert len(load.ids) == taken
            finally:
                limit(service, resource.RLIM_INFINITY)
            load.go_on(30)
        assert load.wrong == []
        check_told(load.refused, BOTH)
        check_kept(service.url, load.ids)
        check_set_untouched(service.url)
    check_sound(file)


class Database:
    """A PostgreSQL server that can be stopped, started, and made to hang."""

    def __init__(self, url: str) -> None:
        self.url = url
        self.home = Path(url.rpartition("host=")[2])

    def control(self, *words: object) -> None:
        folder = programs()
        assert folder is not None
        run_as_owner(folder / "pg_ctl", "-D", self.home / "data", "-w", *words)

    def stop(self) -> None:
        self.control("-m", "immediate", "stop")

    def start(self) -> None:
        options = f"-c listen_addresses='' -c unix_socket_directories={self.home}"
        self.control("-l", self.home / "log", "-o", options, "start")

    @contextmanager
    def hanging(self) -> Iterator[None]:
        """Nothing of it moves."""
        main = psutil.Process(int((self.home / "data" / "postmaster.pid").read_text("utf-8").split()[0]))
        stopped = [main]
        try:
            os.kill(main.pid, signal.SIGSTOP)  # First, so that it makes no more.
            for child in main.children():
                os.kill(child.pid, signal.SIGSTOP)
                stopped.append(child)
            yield
        finally:
            for process in reversed(stopped):
                os.kill(process.pid, signal.SIGCONT)


@pytest.fixture
def database() -> Iterator[Database]:
    """It fails, rather than skips, where there is no PostgreSQL."""
    with server() as url:
        yield Database(url)


def test_a_database_that_stops_twice_under_load_ends_with_a_record_a_key(tmp_path: Path, database: Database) -> None:
    with serving(tmp_path, workers=1, notebook=database.url, before=IMPATIENT) as service:
        prepare(service.url)
        with Writers(service.url) as load:
            for _ in range(2):
                load.go_on(40)
                database.stop()
                try:
                    load.until_refused(8)
                    reads = [get(f"{service.url}/v1/trials"), get(f"{service.url}/v1/sets")]
                    check_told([*writes(service.url), *reads], {"store-unreachable"})
                    check_others(service.url)
                finally:
                    database.start()
            load.go_on(40)
        assert load.wrong == []
        assert load.slowest < SLOWEST
        check_told(load.refused, {"store-unreachable"})
        check_kept(service.url, load.ids)
        check_set_untouched(service.url)


def test_a_database_that_hangs_under_load_ends_with_a_record_a_key(tmp_path: Path, database: Database) -> None:
    with serving(tmp_path, workers=1, notebook=database.url, before=IMPATIENT) as service:
        prepare(service.url)
        with Writers(service.url) as load:
            load.go_on(40)
            with database.hanging():
                load.until_refused(8)
                began = time.monotonic()
                check_others(service.url)
                assert time.monotonic() - began < SLOWEST
                check_told([get(f"{service.url}/v1/trials")], {"store-unreachable"})
            load.go_on(40)
        assert load.wrong == []
        assert load.slowest < SLOWEST
        check_told(load.refused, {"store-unreachable"})
        check_kept(service.url, load.ids)
