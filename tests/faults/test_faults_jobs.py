"""Jobs that several server processes share through a Redis that goes away: all say the same, and final stays final."""

from __future__ import annotations

import asyncio
import signal
import time
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest
from test_faults_processes import serving

from advisor.errors import AdvisorError
from advisor.service.access.store import KeyStore
from advisor.service.jobs import records
from advisor.service.jobs.kept import Kept
from advisor.service.jobs.records import Ended, Records
from advisor.service.weighing.work import JSON, Answer
from advisor.studies import STUDIES
from tests.faults import redis_servers
from tests.faults.redis_servers import RedisServer, ServiceProcess, redis_server, service

pytestmark = pytest.mark.full
WAIT = 60.0
FINAL = ("done", "failed", "cancelled")
Pair = tuple[ServiceProcess, ServiceProcess]


@pytest.fixture
def store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[RedisServer]:
    monkeypatch.setitem(redis_servers.PLAIN, "XDG_CACHE_HOME", str(tmp_path))  # a kept round would be no job at all
    with redis_server(tmp_path) as server:
        yield server


@pytest.fixture
def two(store: RedisServer) -> Iterator[Pair]:
    with service(redis=store.url) as one, service(redis=store.url) as other:
        yield one, other


CLIENTS: list[httpx.Client] = []


@pytest.fixture(autouse=True)
def closed() -> Iterator[None]:
    yield
    while CLIENTS:
        CLIENTS.pop().close()


class Caller:
    """Who asks one server, over a connection that lasts."""

    def __init__(self, url: str, key: str = "") -> None:
        headers = {"Authorization": f"Bearer {key}"} if key else {}
        self.client = httpx.Client(base_url=url, timeout=WAIT, headers=headers, verify=False)
        CLIENTS.append(self.client)

    def submit(self, **more: Any) -> str:
        given = {"study": "round", "request": {**STUDIES["round"].example, **more}}
        return str(self.client.post("/v1/jobs", json=given).raise_for_status().json()["id"])

    def long(self) -> str:
        """A job of half a minute, for which no test waits."""
        fighters = {"me": {"character": "marl"}, "them": {"character": "wenna"}}
        return self.submit(steps=60, options=12, **fighters)

    def job(self, key: str) -> Any:
        return self.client.get(f"/v1/jobs/{key}").raise_for_status().json()

    def refused(self, method: str, path: str, **more: Any) -> tuple[int, str]:
        response = self.client.request(method, path, **more)
        return response.status_code, str(response.json().get("code"))

    def ids(self) -> list[str]:
        return [job["id"] for job in self.client.get("/v1/jobs").raise_for_status().json()["jobs"]]

    def until(self, key: str, wanted: Callable[[Any], bool]) -> Any:
        end = time.monotonic() + WAIT
        while not wanted(now := self.job(key)):
            assert time.monotonic() < end, now
            time.sleep(0.05)
        return now


def begun(job: Any) -> bool:
    return bool(job["state"] == "running")


def over(job: Any) -> bool:
    return job["state"] in FINAL


def eventually(holds: Callable[[], bool], seconds: float = WAIT) -> None:
    end = time.monotonic() + seconds
    while not holds():
        assert time.monotonic() < end
        time.sleep(0.05)


def callers(two: Pair) -> tuple[Caller, Caller]:
    return Caller(two[0].url), Caller(two[1].url)


def test_what_one_server_takes_the_other_answers_lists_and_cancels(two: Pair) -> None:
    one, other = callers(two)
    first = one.submit()
    assert other.job(first)["state"] in ("queued", "running"), "known as soon as it is taken"
    assert other.refused("GET", f"/v1/jobs/{first}/answer") == (409, "job-unfinished")
    second = other.long()
    third = one.long()
    assert one.ids() == other.ids() == [first, second, third], "the oldest first, whoever took them"
    # A caller who sees at one server that it is done finds the answer at the other at once.
    done = one.until(first, over)
    assert done["state"] == "done"
    assert other.job(first) == done
    answers = [c.client.get(f"/v1/jobs/{first}/answer") for c in (one, other)]
    assert [a.status_code for a in answers] == [200, 200]
    assert answers[0].content == answers[1].content and answers[0].json()["pack"]
    one.until(second, begun)
    for key, here, there in ((second, one, other), (third, other, one)):
        started = time.monotonic()
        ended = here.client.delete(f"/v1/jobs/{key}").raise_for_status().json()
        assert time.monotonic() - started < 1
        assert ended["state"] == "cancelled", "the other has confirmed"
        assert there.job(key) == ended == here.job(key) == here.client.delete(f"/v1/jobs/{key}").json()
        assert here.refused("GET", f"/v1/jobs/{key}/answer") == (409, "job-cancelled")
    assert one.client.delete(f"/v1/jobs/{first}").json() == other.client.delete(f"/v1/jobs/{first}").json() == done
    assert one.refused("GET", "/v1/jobs/zz") == other.refused("DELETE", "/v1/jobs/a%20b") == (404, "job-unknown")
    assert other.until(one.submit(), over)["state"] == "done", "who was told to cancel goes on with the next"


def test_progress_grows_as_seen_from_the_other_server(two: Pair) -> None:
    one, other = callers(two)
    key = one.submit(steps=8)
    seen = []
    while not over(now := other.job(key)):
        seen.append((now["done"], now["seconds"]))
        time.sleep(0.1)
    assert now["state"] == "done" and now["done"] == now["total"] > 0
    assert seen == sorted(seen)
    assert len({seconds for _, seconds in seen}) > 2, seen


def test_servers_on_one_address_answer_for_each_others_jobs(store: RedisServer, tmp_path: Path) -> None:
    with serving(tmp_path, servers=2, workers=0, redis=store.url) as served:
        keys, codes = [Caller(served.url).submit() for _ in range(3)], Counter[int]()
        for _ in range(20):  # each over a connection of its own: both are met
            caller = Caller(served.url)
            assert caller.ids() == keys
            codes.update(caller.client.get(f"/v1/jobs/{key}").status_code for key in keys)
        assert codes == {200: 60}
        assert Caller(served.url).until(keys[-1], over)["state"] == "done"
        assert served.metric("advisor_jobs", state="done") <= 3
        eventually(lambda: served.metric("advisor_jobs") == 3)


def test_a_job_is_its_owners_on_every_server(store: RedisServer, tmp_path: Path) -> None:
    address = f"sqlite:///{tmp_path}/notebook.sqlite"
    keys = KeyStore(address)
    mine, theirs, boss = (
        keys.add(name, scopes).text for name, scopes in (("a", ("read",)), ("b", ("read",)), ("c", ("admin",)))
    )
    keys.close()
    given: dict[str, Any] = {"redis": store.url, "access": "keys", "notebook": address}
    with service(**given) as one, service(**given) as other:
        job = Caller(one.url, mine).long()
        for server in (one, other):
            stranger = Caller(server.url, theirs)
            assert stranger.ids() == []
            for method, tail in (("GET", ""), ("GET", "/answer"), ("DELETE", "")):
                assert stranger.refused(method, f"/v1/jobs/{job}{tail}") == (404, "job-unknown")
            assert Caller(server.url, mine).ids() == Caller(server.url, boss).ids() == [job]
        assert Caller(other.url, mine).job(job)["state"] in ("queued", "running"), "nobody cancelled it"
        ended = Caller(other.url, boss).client.delete(f"/v1/jobs/{job}").json()
        assert ended["state"] == "cancelled" == Caller(one.url, mine).job(job)["state"]


def test_jobs_of_a_killed_server_fail_and_those_that_were_over_stay(two: Pair) -> None:
    one, other = callers(two)
    time.sleep(records.ALIVE)  # who just began judges nobody
    done, running, queued = one.submit(), one.long(), one.long()
    answer = one.until(done, over) and one.client.get(f"/v1/jobs/{done}/answer").content
    other.until(running, begun)
    two[0].process.kill()
    assert other.job(running)["state"] == "running"
    for key in (running, queued):
        lost = other.until(key, over)
        assert lost["state"] == "failed"
        problem = lost["problem"]
        assert (problem["code"], problem["detail"], problem["help"]) == (
            "fault", "the process of the job was lost", "submit it again",
        )  # fmt: skip
        failed = other.client.get(f"/v1/jobs/{key}/answer")
        assert (failed.status_code, failed.json()) == (500, problem)
        assert other.client.delete(f"/v1/jobs/{key}").json() == lost
    assert other.job(done)["state"] == "done"
    assert other.client.get(f"/v1/jobs/{done}/answer").content == answer


def test_a_server_that_was_held_up_obeys_what_was_said_of_its_jobs(two: Pair) -> None:
    one, other = callers(two)
    time.sleep(records.ALIVE)
    key = one.long()
    other.until(key, begun)
    two[0].process.send_signal(signal.SIGSTOP)
    try:
        asked = other.client.delete(f"/v1/jobs/{key}").json()
        assert asked["state"] == "running", "nobody confirmed it"
        lost = other.until(key, over)
        assert lost["state"] == "failed"
    finally:
        two[0].process.send_signal(signal.SIGCONT)
    mine = one.until(key, over)
    assert (mine["state"], mine["problem"]) == ("failed", lost["problem"])
    time.sleep(1.5)
    assert other.job(key) == lost, "final stays"
    assert other.until(one.submit(), over)["state"] == "done"


def test_a_server_that_ends_in_order_says_so(two: Pair) -> None:
    one, other = callers(two)
    running, queued = one.long(), one.long()
    other.until(running, begun)
    two[0].process.terminate()
    assert two[0].process.wait(10) == 0
    assert {other.job(key)["state"] for key in (running, queued)} == {"cancelled"}
    assert two[0].process.stderr is not None
    assert "Traceback" not in two[0].process.stderr.read()


@pytest.mark.parametrize("how", ["empty", "older"])
def test_own_jobs_go_on_while_redis_is_away_and_are_told_again(store: RedisServer, two: Pair, how: str) -> None:
    one, other = callers(two)
    gone = other.long()
    assert other.client.delete(f"/v1/jobs/{gone}").json()["state"] == "cancelled"
    running = one.submit()
    waiting = one.long()
    if how == "older":
        store.client.save()
    store.kill()
    request = {"study": "round", "request": STUDIES["round"].example}
    away = (503, "jobs-unavailable")
    assert one.refused("POST", "/v1/jobs", json=request) == away
    assert one.refused("GET", "/v1/jobs") == away
    for method, tail in (("GET", ""), ("GET", "/answer"), ("DELETE", "")):
        assert other.refused(method, f"/v1/jobs/{running}{tail}") == away
    response = other.client.get(f"/v1/jobs/{running}")
    assert int(response.headers["retry-after"]) > 0 and "`127.0.0.1`" in response.json()["detail"]
    done = one.until(running, over)
    assert done["state"] == "done"
    assert one.client.get(f"/v1/jobs/{running}/answer").status_code == 200
    assert one.client.delete(f"/v1/jobs/{waiting}").json()["state"] == "cancelled"
    time.sleep(records.ALIVE)
    store.start()

    def known() -> bool:
        states = [other.client.get(f"/v1/jobs/{key}").json().get("state") for key in (running, waiting)]
        assert "failed" not in states, "nobody was lost"
        return states == ["done", "cancelled"]

    eventually(known, 5.0)
    assert other.job(running) == done
    assert other.client.get(f"/v1/jobs/{running}/answer").content == (
        one.client.get(f"/v1/jobs/{running}/answer").content
    )
    eventually(lambda: gone in one.ids(), 5.0)
    assert one.ids() == other.ids() == [gone, running, waiting], "what was refused left nothing behind"


def test_a_hung_redis_holds_up_nothing_but_those_who_ask_it(store: RedisServer, two: Pair) -> None:
    one, other = callers(two)
    key = one.long()
    other.until(key, begun)
    store.process.send_signal(signal.SIGSTOP)
    try:
        assert other.refused("GET", f"/v1/jobs/{key}") == (503, "jobs-unavailable")
        for _ in range(5):
            started = time.monotonic()
            assert one.job(key)["state"] == "running"
            assert one.client.get("/v1/packs").status_code == other.client.get("/v1/packs").status_code == 200
            assert time.monotonic() - started < 1
        request = {"study": "round", "request": STUDIES["round"].example}
        assert one.refused("POST", "/v1/jobs", json=request) == (503, "jobs-unavailable")
    finally:
        store.process.send_signal(signal.SIGCONT)
    eventually(lambda: other.client.get("/v1/jobs").status_code == 200 and one.ids() == [key] == other.ids(), 10.0)
    time.sleep(1.5)
    assert other.ids() == [key], "no late write brings back the job that was refused"
    assert other.client.delete(f"/v1/jobs/{key}").json()["state"] == "cancelled"


def test_what_the_process_drops_is_gone_for_all(store: RedisServer) -> None:
    with service(redis=store.url, jobs=2) as one, service(redis=store.url) as other:
        here, there = Caller(one.url), Caller(other.url)
        first, second = here.long(), here.long()
        assert here.client.delete(f"/v1/jobs/{second}").json()["state"] == "cancelled"
        assert there.job(second)["state"] == "cancelled"
        third = here.long()
        eventually(lambda: there.refused("GET", f"/v1/jobs/{second}") == (404, "job-unknown"), 2.0)
        assert here.ids() == there.ids() == [first, third]
        request = {"study": "round", "request": STUDIES["round"].example}
        assert here.refused("POST", "/v1/jobs", json=request) == (503, "jobs-full")
        assert store.client.keys(f"*{second}*") == [f"advisor:jobs:job:{second}".encode()]
        lasting = [name for name in store.client.keys("advisor:jobs:*") if store.client.pttl(name) < 0]
        assert lasting == [b"advisor:jobs:all"]


def test_one_record_step_by_step(store: RedisServer, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is final stays, late writes change nothing, and nobody is judged by who was not heard himself."""
    monkeypatch.setattr(records, "ALIVE", 0.5)

    async def walk() -> None:
        mine, theirs = Records(store.url, "mine"), Records(store.url, "theirs")
        job = Kept("round", None, "key:a")
        assert await mine.beat() == (False, [])
        assert await mine.beat() == (True, [])
        assert await mine.write(job.id, job.peek()) is None
        for sees, found in ((None, True), ("key:a", True), ("key:b", False), ("", False)):
            assert (await theirs.look(job.id, sees, judge=False) is not None) == found
            assert len(await theirs.listed(sees, judge=False)) == found
        await theirs.wish(job.id)
        assert (await mine.beat())[1] == [job.id] == (await mine.beat())[1], "until it was done"
        await asyncio.sleep(0.6)
        assert await theirs.look(job.id, None, judge=True) is not None
        assert (await theirs.listed(None, judge=True))[0].job.state == "queued", "they gave no sign of life"
        await theirs.beat()
        lost = await theirs.look(job.id, None, judge=True)
        assert lost is not None and lost.job.state == "failed"
        job.state, job.forms = "done", {JSON: Answer(200, JSON, b"{}")}
        ended = await mine.write(job.id, job.peek())
        assert isinstance(ended, Ended) and ended.state == "failed"
        assert ended.forms == await theirs.forms(job.id) and ended.forms[JSON].status == 500
        assert await theirs.look(job.id, None, judge=False) == lost
        assert await mine.beat() == (False, []), "the wish went with its job"

        newer = Kept("round", None, "key:a")
        newer.state, newer.forms = "done", {JSON: Answer(200, JSON, b"\x00")}
        await mine.write(newer.id, newer.peek())
        await theirs.wish(newer.id)
        assert store.client.keys("*wishes*") == []
        assert await theirs.forms(newer.id) == newer.forms
        newer.state = "cancelled"
        assert (await mine.write(newer.id, newer.peek())) == Ended("done", newer.forms)
        await mine.drop(newer.id)
        mine._numbers = iter([1])  # type: ignore[assignment]
        await mine.write(newer.id, newer.peek())
        assert await theirs.look(newer.id, None, judge=False) is None
        assert [r.job.id for r in await theirs.listed(None, judge=False)] == [job.id]
        store.kill()
        with pytest.raises(AdvisorError) as caught:
            await mine.beat()
        assert caught.value.code == "jobs-unavailable"
        await mine.close()
        await theirs.close()

    asyncio.run(walk())
