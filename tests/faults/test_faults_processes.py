"""Real processes under load: reloads, deaths, ends. What is not the victim's own goes on as if nothing had been."""

from __future__ import annotations

import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import httpx
import psutil
import pytest
from prometheus_client.parser import text_string_to_metric_families
from redis_servers import redis_server

from advisor.library import bundled_rules
from advisor.service.jobs.wire import JOB_EXAMPLE

pytestmark = pytest.mark.full

PLAIN = {k: v for k, v in os.environ.items() if not k.startswith("ADVISOR_")}
WAIT = 30.0
CLI = "from advisor.clients.cli import main; main()"


class Service:
    """``advisor serve`` with a pack of its own; ``before`` is run first in the process that watches."""

    def __init__(self, folder: Path, *, before: str = "", **settings: Any) -> None:
        self.pack = folder / "cold_frame"
        if not self.pack.exists():
            shutil.copytree(bundled_rules() / "packs" / "cold_frame", self.pack)
        given = {"packs": self.pack, "port": 0, "engine": "plain", **settings}
        self.log = folder / "log"
        environ = {**PLAIN, "XDG_DATA_HOME": str(folder), "TMPDIR": str(folder)}
        environ |= {f"ADVISOR_{name.upper()}": str(value) for name, value in given.items()}
        with self.log.open("wb") as log:
            self.process = subprocess.Popen(
                [sys.executable, "-c", f"{before}\n{CLI}", "serve"], stdout=subprocess.PIPE, stderr=log, text=True,
                env=environ, start_new_session=True,
            )  # fmt: skip
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        assert line.startswith("listening on "), self.said()
        self.url = line.split()[-1]
        self.address = ("127.0.0.1", int(self.url.rpartition(":")[2]))

    def said(self) -> str:
        return self.log.read_text("utf-8")

    def spawned(self) -> list[psutil.Process]:
        """Its own processes: servers when there are several, else workers."""
        return spawned_by(psutil.Process(self.process.pid))

    def all(self) -> list[psutil.Process]:
        return psutil.Process(self.process.pid).children(recursive=True)

    def edit(self, version: int) -> None:
        head = self.pack / "pack.yaml"
        text, times = re.subn(r'(?m)^version: .*$', f'version: "{version}"', head.read_text("utf-8"))
        assert times == 1
        head.write_text(text, encoding="utf-8")

    def metric(self, name: str, **labels: str) -> float:
        text = get(f"{self.url}/metrics", headers={"accept": "text/plain"}).text
        samples = [s for family in text_string_to_metric_families(text) for s in family.samples]
        return sum(s.value for s in samples if s.name == name and labels.items() <= s.labels.items())


def spawned_by(process: psutil.Process) -> list[psutil.Process]:
    found = []
    for child in process.children():
        with suppress(psutil.NoSuchProcess):  # a zombie is one of these
            if "spawn_main" in " ".join(child.cmdline()):
                found.append(child)
    return found


def fresh() -> httpx.Client:
    """A client of its own connection; certificates, which take long to load, are of no matter here."""
    return httpx.Client(timeout=WAIT, verify=False)


def get(url: str, **more: Any) -> httpx.Response:
    with fresh() as client:
        return client.get(url, **more)


def reload(service: Service) -> httpx.Response:
    with fresh() as client:
        return client.post(f"{service.url}/v1/admin/reload")


@contextmanager
def serving(folder: Path, **settings: Any) -> Iterator[Service]:
    service = Service(folder, **settings)
    below = service.all()
    try:
        yield service
    finally:
        with service.process:
            service.process.kill()
        gone(below)


def gone(processes: list[psutil.Process], within: float = 5.0) -> None:
    until = time.monotonic() + within
    while left := [p for p in processes if p.is_running() and p.status() != psutil.STATUS_ZOMBIE]:
        assert time.monotonic() < until, left
        time.sleep(0.02)


def eventually(holds: Callable[[], bool]) -> None:
    until = time.monotonic() + WAIT
    while not holds():
        assert time.monotonic() < until
        time.sleep(0.05)


def question(number: int) -> dict[str, Any]:
    """A question that nobody asked before."""
    return {
        "me": {"character": "wenna"}, "them": {"character": "marl"}, "distance": 0.2 + number / 10_000,
        "moment": {"kind": "blocked", "attacker": "them", "move": "cinder_knee"},
        "responses": ["putty_jab"], "replies": ["guard"],
    }  # fmt: skip


class Load:
    """Callers, each over a connection of its own: three lists to one new question."""

    def __init__(self, url: str, callers: int = 4) -> None:
        self.url = url
        self.done = 0
        self.broken: list[str] = []
        self.wrong: list[str] = []
        self.backwards: list[str] = []
        self._stop = threading.Event()
        self._lock = threading.Lock()
        self._callers = [threading.Thread(target=self._call, args=(i,)) for i in range(callers)]

    def __enter__(self) -> Load:
        for caller in self._callers:
            caller.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        for caller in self._callers:
            caller.join()

    def _call(self, me: int) -> None:
        client, number, last = fresh(), 0, 0.0
        while not self._stop.is_set():
            number += 1
            try:
                if number % 4:
                    response = client.get(f"{self.url}/v1/packs/cold_frame")
                else:
                    response = client.post(f"{self.url}/v1/advice", json=question(me * 100_000 + number))
            except httpx.HTTPError as error:
                with self._lock:
                    self.broken.append(repr(error))
                client.close()
                client = fresh()
                last = 0.0
                continue
            body = response.json()
            with self._lock:
                self.done += 1
                if response.status_code != 200:
                    self.wrong.append(response.text)
                    continue
                version = float(body["version"] if number % 4 else body["pack"]["version"])
                if version < last:
                    self.backwards.append(f"{last} {version}")
                last = version
        client.close()

    def go_on(self, requests: int) -> None:
        """Wait until so many more are answered."""
        target = self.done + requests
        eventually(lambda: self.done >= target)


@pytest.mark.parametrize("servers", [1, 2])
def test_five_reloads_under_load_drop_no_request(tmp_path: Path, servers: int) -> None:
    with redis_server(tmp_path) as redis:
        options = {"servers": servers, "redis": redis.url} if servers > 1 else {}
        with serving(tmp_path, workers=1, **options) as service, Load(service.url) as load:
            for version in range(2, 7):
                service.edit(version)
                if version % 2:
                    service.process.send_signal(signal.SIGHUP)
                    eventually(lambda: service.metric("advisor_reloads_total", outcome="ok") >= version - 1)  # noqa: B023
                else:
                    response = reload(service)
                    assert response.status_code == 200, response.text
                    (change,) = response.json()["packs"]
                    assert (change["change"], change["version"]) == ("changed", str(version))
                    assert response.json()["servers"] == servers
                for _ in range(8):  # every server has taken it
                    assert get(f"{service.url}/v1/packs/cold_frame").json()["version"] == str(version)
                load.go_on(50)
    assert (load.broken, load.wrong, load.backwards) == ([], [], [])
    assert load.done > 300


def test_a_job_ends_on_the_data_it_began_with_and_the_next_takes_the_new(tmp_path: Path) -> None:
    with serving(tmp_path, workers=0) as service, fresh() as client:

        def submitted() -> str:
            return str(client.post(f"{service.url}/v1/jobs", json=JOB_EXAMPLE).raise_for_status().json()["id"])

        def version(job: str) -> str:
            eventually(lambda: client.get(f"{service.url}/v1/jobs/{job}").json()["state"] == "done")
            return str(client.get(f"{service.url}/v1/jobs/{job}/answer").json()["pack"]["version"])

        service.edit(2)
        assert reload(service).status_code == 200
        first = submitted()
        eventually(lambda: client.get(f"{service.url}/v1/jobs/{first}").json()["state"] != "queued")
        service.edit(3)
        assert reload(service).status_code == 200
        second = submitted()
        assert (version(first), version(second)) == ("2", "3")


def test_a_broken_pack_is_refused_by_all_servers_and_changes_none(tmp_path: Path) -> None:
    with redis_server(tmp_path) as redis, serving(tmp_path, servers=2, workers=1, redis=redis.url) as service:
        path = service.pack / "characters" / "wenna.yaml"
        right = path.read_text("utf-8")
        path.write_text(right.replace("level: high", "level: hihg", 1), encoding="utf-8")
        with Load(service.url) as load:
            for _ in range(3):
                response = reload(service)
                assert (response.status_code, response.json()["code"]) == (422, "reload-refused")
                said = response.json()["detail"]
                assert re.search(rf"{path}:\d+:\d+: error\[.*did you mean `high`\?", said, re.DOTALL)
            service.process.send_signal(signal.SIGHUP)
            eventually(lambda: service.metric("advisor_reloads_total", outcome="refused") == 4)
            # A worker and a server that are lost now start again from what was checked.
            server = service.spawned()[0]
            for worker in spawned_by(server):
                worker.kill()
            eventually(lambda: service.metric("advisor_worker_losses_total") >= 1)
            load.go_on(100)
            assert (load.broken, load.wrong) == ([], [])
            server.kill()
            eventually(lambda: len(service.spawned()) == 2 and server not in service.spawned())
            load.go_on(100)
        assert load.wrong == []
        path.write_text(right, encoding="utf-8")
        eventually(lambda: reload(service).json().get("servers") == 2)


def test_a_server_that_is_killed_costs_only_its_own_requests(tmp_path: Path) -> None:
    callers = 6
    with redis_server(tmp_path) as redis, serving(tmp_path, servers=2, workers=1, redis=redis.url) as service:
        with Load(service.url, callers) as load:
            load.go_on(100)
            before = service.metric("advisor_requests_total", operation="getPack")
            victim = service.spawned()[0]
            below = victim.children(recursive=True)
            victim.kill()
            gone(below)
            load.go_on(200)
            eventually(lambda: len(service.spawned()) == 2)
            load.go_on(400)
        assert len(load.broken) <= callers, load.broken
        assert all("ConnectError" not in error for error in load.broken), "the address is never gone"
        assert load.wrong == []
        assert f"server {victim.pid} ended with -9; another takes its place" in service.said()
        # What the dead one counted stays counted, and what it held is no longer there.
        assert service.metric("advisor_requests_total", operation="getPack") > before
        eventually(lambda: service.metric("advisor_requests_in_flight") == 1)
        eventually(lambda: service.metric("advisor_build_info") == 2)


def test_workers_that_are_killed_cost_nobody_an_answer(tmp_path: Path) -> None:
    with serving(tmp_path, workers=2) as service, Load(service.url) as load:
        for lost in range(1, 4):
            load.go_on(50)
            service.spawned()[0].kill()
            eventually(lambda: service.metric("advisor_worker_losses_total") == lost)  # noqa: B023
            eventually(lambda: len(service.spawned()) == 2)
        load.go_on(50)
    assert (load.broken, load.wrong) == ([], [])


def test_nobody_outlives_the_one_who_watches(tmp_path: Path) -> None:
    with redis_server(tmp_path) as redis, serving(tmp_path, servers=2, workers=1, redis=redis.url) as service:
        below = service.all()
        assert len(below) >= 4
        service.process.kill()
        gone(below)


def test_a_server_that_hangs_is_replaced(tmp_path: Path) -> None:
    before = "import advisor.service.running.servers as s; s.SILENCE = 2.0"
    options = {"before": before, "servers": 2, "workers": 0}
    with redis_server(tmp_path) as redis, serving(tmp_path, redis=redis.url, **options) as service:
        victim = service.spawned()[0]
        victim.suspend()
        eventually(lambda: len(service.spawned()) == 2 and victim not in service.spawned())
        assert f"server {victim.pid} gave no sign of life" in service.said()
        for _ in range(20):
            assert get(f"{service.url}/v1/packs").status_code == 200


CALLERS = 40


def heavy(number: int) -> dict[str, Any]:
    """A question that takes a moment."""
    return {
        "me": {"character": "wenna"}, "them": {"character": "marl"}, "distance": 0.3 + number / 1000,
        "moment": {"kind": "neutral"},
    }  # fmt: skip


@pytest.mark.parametrize("servers", [1, 2])
def test_an_end_in_order_finishes_what_is_under_way(tmp_path: Path, servers: int) -> None:
    with redis_server(tmp_path) as redis:
        options = {"servers": servers, "redis": redis.url} if servers > 1 else {}
        with serving(tmp_path, workers=1, grace=20, **options) as service:
            answers: list[int] = []
            clients = [fresh() for _ in range(CALLERS)]

            def ask(number: int) -> None:
                response = clients[number].post(f"{service.url}/v1/advice", json=heavy(number))
                assert response.json()["responses"]
                answers.append(response.status_code)

            callers = [threading.Thread(target=ask, args=(i,)) for i in range(CALLERS)]
            for caller in callers:
                caller.start()
            eventually(lambda: service.metric("advisor_requests_in_flight") >= CALLERS // 2)
            below = service.all()
            service.process.send_signal(signal.SIGTERM)
            for caller, client in zip(callers, clients, strict=True):
                caller.join()
                client.close()
            assert service.process.wait(10) == 0
            gone(below)
            assert answers == [200] * CALLERS
            assert "Traceback" not in service.said()
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith("advisor-")] == [], "no copy is left"


def held(service: Service) -> socket.socket:
    """A request whose body never ends."""
    line = socket.create_connection(service.address)
    line.sendall(
        b"POST /v1/advice HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\nContent-Length: 500\r\n\r\n{"
    )
    return line


@pytest.mark.parametrize("servers", [1, 2])
def test_after_the_grace_the_end_comes_by_force(tmp_path: Path, servers: int) -> None:
    with redis_server(tmp_path) as redis:
        options = {"servers": servers, "redis": redis.url} if servers > 1 else {}
        with serving(tmp_path, workers=1, grace=1, body_seconds=60, **options) as service:
            lines = [held(service) for _ in range(4)]
            eventually(lambda: service.metric("advisor_requests_in_flight") == 5)
            below, began = service.all(), time.monotonic()
            service.process.send_signal(signal.SIGTERM)
            assert service.process.wait(10) == 0
            assert 0.9 < time.monotonic() - began < 6
            gone(below)
            for line in lines:
                line.close()


def test_callers_who_go_in_the_middle_of_a_body_leave_nothing_behind(tmp_path: Path) -> None:
    with serving(tmp_path, workers=1) as service, Load(service.url) as load:
        for _ in range(5):
            lines = [held(service) for _ in range(40)]
            load.go_on(20)
            for line in lines:
                line.close()
        load.go_on(50)
        eventually(lambda: service.metric("advisor_requests_in_flight") <= 1 + len(load._callers))
        assert service.metric("advisor_requests_total", operation="advise", status="lost") == 200
        assert service.metric("advisor_requests_total", operation="advise", status="5xx") == 0
        assert "Traceback" not in service.said()
    assert (load.broken, load.wrong) == ([], [])


def test_faulty_data_end_the_start_of_several_servers_in_the_same_words(tmp_path: Path) -> None:
    with redis_server(tmp_path) as redis:
        with serving(tmp_path, workers=0) as service:
            path = service.pack / "characters" / "wenna.yaml"
        path.write_text(path.read_text("utf-8").replace("level: high", "level: hihg", 1), encoding="utf-8")
        said = []
        for servers in (1, 2):
            environ = {"ADVISOR_SERVERS": str(servers), "ADVISOR_REDIS": redis.url, "ADVISOR_LOG": "off"}
            done = subprocess.run(
                [sys.executable, "-c", CLI, "serve", "--port", "0", "--packs", str(service.pack)],
                env={**PLAIN, **environ}, capture_output=True, text=True, timeout=WAIT, check=False,
            )  # fmt: skip
            assert (done.returncode, done.stdout) == (2, "")
            said.append(done.stderr)
    assert said[0] == said[1]
    assert f"{path}:" in said[0]
