"""The store of a running service runs full, is locked, or goes away: what was acknowledged stays."""

from __future__ import annotations

import json
import os
import signal
import sqlite3
import subprocess
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import psutil
import pytest
from redis_servers import ServiceProcess, service
from sqlalchemy import create_engine, text
from sqlalchemy.engine import make_url

from advisor.notebook import Notebook
from advisor.service.weighing.tasks import TASKS

pytestmark = pytest.mark.full

ROOT = Path(__file__).parents[2]
QUESTION = TASKS["advice"].example
TRIAL = {"question": QUESTION, "response": "putty_jab", "successes": 1, "tries": 2}


def add(server: ServiceProcess, key: str, **changes: Any) -> httpx.Response:
    return httpx.post(
        f"{server.url}/v1/trials", json={**TRIAL, **changes}, headers={"idempotency-key": key}, timeout=40
    )


def all_ids(server: ServiceProcess) -> list[str]:
    found: list[str] = []
    query: dict[str, Any] = {"limit": 1000}
    while True:
        page = httpx.get(f"{server.url}/v1/trials", params=query, timeout=40).raise_for_status().json()
        found += [one["id"] for one in page["trials"]]
        if page["next"] is None:
            return found
        query["after"] = page["next"]


def told(response: httpx.Response, code: str) -> None:
    assert (response.status_code, response.json()["code"]) == (503, code), response.text
    assert int(response.headers["retry-after"]) > 0


def advises(server: ServiceProcess) -> None:
    assert httpx.post(f"{server.url}/v1/advice", json=QUESTION, timeout=20).status_code == 200


def test_a_full_disk_takes_no_more_and_loses_nothing(tmp_path: Path) -> None:
    """A file system of 2 MiB is filled up: writes are refused as a whole, what was acknowledged can still be read."""
    disk = tmp_path / "disk"
    disk.mkdir()
    subprocess.run(["mount", "-t", "tmpfs", "-o", "size=2m", "none", str(disk)], check=True)
    try:
        with service(notebook=f"sqlite:///{disk / 'notebook.sqlite'}") as server:
            kept, note = [add(server, "first").json()["id"]], "x" * 2_000
            for n in range(2_000):
                response = add(server, str(n), note=note)
                if response.status_code != 201:
                    break
                kept.append(response.json()["id"])
            told(response, "store-full")
            lines = b'{"set":"x"}\n' + json.dumps({"name": "one", "request": QUESTION}).encode()
            at = f"{server.url}/v1/sets/x/lines"
            told(httpx.post(at, content=lines, headers={"content-type": "application/jsonl"}, timeout=40), "store-full")
            assert httpx.get(f"{server.url}/v1/sets/x").status_code == 404
            assert all_ids(server) == kept
            advises(server)
            subprocess.run(["mount", "-o", "remount,size=8m", str(disk)], check=True)
            assert add(server, str(n), note=note).status_code == 201
            assert len(all_ids(server)) == len(kept) + 1
            server.process.send_signal(signal.SIGTERM)
            assert server.process.wait(20) == 0
        with sqlite3.connect(disk / "notebook.sqlite") as connection:
            assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        connection.close()
    finally:
        subprocess.run(["umount", "-l", str(disk)], check=True)


def test_a_store_that_another_holds_is_given_up_in_time_and_written_later(tmp_path: Path) -> None:
    file = tmp_path / "notebook.sqlite"
    Notebook(f"sqlite:///{file}").close()
    with service(notebook=f"sqlite:///{file}") as server:
        holder = sqlite3.connect(file, isolation_level=None)
        holder.execute("BEGIN IMMEDIATE")
        began = time.monotonic()
        told(add(server, "held"), "store-unreachable")
        assert 8 < time.monotonic() - began < 20
        assert all_ids(server) == []  # Readers go on.
        advises(server)
        holder.execute("ROLLBACK")
        holder.close()
        # The first may have been written by now, or not: the key sees to it that there is one.
        assert add(server, "held").status_code == 201
        time.sleep(0.5)
        assert len(all_ids(server)) == 1


@pytest.fixture
def database() -> Iterator[tuple[str, Path]]:
    """The URL of a new PostgreSQL server's database, and the server's folder."""
    from tests.notebook_faults.postgres import server

    with server() as url:
        yield url, Path(make_url(url).query["host"])  # type: ignore[arg-type]


def postmaster(folder: Path) -> psutil.Process:
    return psutil.Process(int((folder / "data" / "postmaster.pid").read_text("utf-8").splitlines()[0]))


def test_a_database_that_dies_under_load_loses_nothing_acknowledged(database: tuple[str, Path]) -> None:
    url, folder = database
    with service(notebook=url) as server:
        assert add(server, "before").status_code == 201
        kept: dict[str, str] = {}
        refused: list[str] = []
        over = threading.Event()

        def write(name: int) -> None:
            n = 0
            while not over.is_set():
                key = f"{name}-{n}"
                response = add(server, key)
                if response.status_code == 201:
                    kept[key] = response.json()["id"]
                    n += 1
                else:
                    told(response, "store-unreachable")
                    refused.append(key)
                    time.sleep(0.05)

        threads = [threading.Thread(target=write, args=(name,)) for name in range(4)]
        for thread in threads:
            thread.start()
        time.sleep(1)
        main = postmaster(folder)
        main.suspend()
        for child in main.children():
            child.kill()
        main.kill()
        main.wait(10)
        until = time.monotonic() + 20
        while len(refused) < 8 and time.monotonic() < until:
            time.sleep(0.1)
        advises(server)
        from tests.notebook_faults.postgres import _run, programs

        (folder / "data" / "postmaster.pid").unlink(missing_ok=True)
        options = f"-c listen_addresses='' -c unix_socket_directories={folder}"
        _run(programs() / "pg_ctl", "-D", folder / "data", "-w", "-l", folder / "log", "-o", options, "start")  # type: ignore[operator]
        before = len(kept)
        until = time.monotonic() + 20
        while len(kept) < before + 20 and time.monotonic() < until:
            time.sleep(0.1)
        over.set()
        for thread in threads:
            thread.join(60)
        assert len(refused) >= 8 and len(kept) >= before + 20
        ids = all_ids(server)
        assert set(kept.values()) <= set(ids) and len(ids) == len(set(ids))
        # A key that was refused may have been written: at most one record for each key.
        keys = set(kept) | set(refused)
        assert len(ids) <= len(keys) + 1


def test_a_database_that_hangs_holds_up_nothing_but_itself(database: tuple[str, Path]) -> None:
    url, folder = database
    with service(notebook=url) as server:
        assert add(server, "before").status_code == 201
        main = postmaster(folder)
        stopped = [main, *main.children(recursive=True)]
        for one in stopped:
            os.kill(one.pid, signal.SIGSTOP)
        try:
            answers: list[httpx.Response] = []
            threads = [threading.Thread(target=lambda n=n: answers.append(add(server, f"h{n}"))) for n in range(12)]
            for thread in threads:
                thread.start()
            began = time.monotonic()
            advises(server)
            assert time.monotonic() - began < 6
            for thread in threads:
                thread.join(60)
            assert len(answers) == 12
            for response in answers:
                told(response, "store-unreachable")
        finally:
            for one in stopped:
                os.kill(one.pid, signal.SIGCONT)
        until = time.monotonic() + 30
        while (response := add(server, "after")).status_code != 201 and time.monotonic() < until:
            time.sleep(0.2)
        assert response.status_code == 201


def test_what_a_database_cannot_hold_is_the_callers_to_mend(database: tuple[str, Path]) -> None:
    url, _ = database
    with service(notebook=url) as server:
        for path in ("/v1/trials/%00", "/v1/sets/%00", "/v1/sets/a%00b/lines"):
            response = httpx.get(f"{server.url}{path}", timeout=20)
            assert (response.status_code, response.json()["code"]) == (400, "value-invalid"), path
        engine = create_engine(make_url(url).set(drivername="postgresql+psycopg"))
        with engine.connect() as connection:
            assert connection.execute(text("SELECT count(*) FROM trials")).scalar() == 0
        engine.dispose()


def test_two_processes_that_are_sent_one_key_at_once_write_once(tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path / 'notebook.sqlite'}"
    with service(notebook=url) as one, service(notebook=url) as two:
        for n in range(20):
            found: list[str] = []
            start = threading.Barrier(4)

            def send(server: ServiceProcess, key: str, found: list[str], start: threading.Barrier) -> None:
                start.wait(10)
                found.append(add(server, key).raise_for_status().json()["id"])

            threads = [threading.Thread(target=send, args=(s, f"k{n}", found, start)) for s in (one, two, one, two)]
            for thread in threads:
                thread.start()
            for thread in threads:
                thread.join(40)
            assert len(found) == 4 and len(set(found)) == 1
        assert len(all_ids(two)) == 20
