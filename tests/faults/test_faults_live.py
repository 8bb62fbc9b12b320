"""Live channels over several servers and a Redis that goes away: one order, nothing lost in silence, nothing stale."""

from __future__ import annotations

import asyncio
import random
import signal
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import httpx
import pytest
from websockets.exceptions import ConnectionClosed
from websockets.sync.client import connect

from advisor.errors import AdvisorError
from advisor.service.live.events import Mark, cleared
from advisor.service.live.log import Log, MemoryLog
from advisor.service.live.redis_log import RedisLog
from advisor.service.settings import Settings
from advisor.service.weighing.tasks import TASKS
from tests.faults.redis_servers import RedisServer, ServiceProcess, redis_server, service
from tests.unit.service.live_streams import Got, Stream

pytestmark = pytest.mark.full
STATE = {"question": {**TASKS["advice"].example, "responses": ["putty_jab"], "explain": "none"}}


@pytest.fixture
def store(tmp_path: Path) -> Iterator[RedisServer]:
    with redis_server(tmp_path) as server:
        yield server


@pytest.fixture
def two(store: RedisServer) -> Iterator[tuple[ServiceProcess, ServiceProcess]]:
    with service(redis=store.url, heartbeat=1) as one, service(redis=store.url, heartbeat=1) as other:
        yield one, other


def events(stream: Stream, count: int) -> list[Got]:
    return [e for _ in range(count) if (e := stream.event())]


def test_two_servers_tell_the_same_in_the_same_order(two: tuple[ServiceProcess, ServiceProcess]) -> None:
    count = 40
    with Stream(two[0].port, "a") as here, Stream(two[1].port, "a") as there, ThreadPoolExecutor(4) as threads:
        here.next(), there.next()
        sent = list(threads.map(lambda i: two[i % 2].show("a", {**STATE, "note": str(i)}), range(count)))
        got = events(here, count)
        assert got == events(there, count)
    assert sorted(e.id for e in got) == sorted(sent)
    numbers = [int(e.id.partition("-")[2]) for e in got]
    assert numbers == sorted(set(numbers))
    assert {e.data["note"] for e in got} == {str(i) for i in range(count)}
    with Stream(two[1].port, "a", got[-6].id) as again:
        assert events(again, 5) == got[-5:]
    one, other = (httpx.get(f"{server.url}/v1/live/a").json() for server in two)
    assert one == other == got[-1].data
    assert httpx.delete(f"{two[0].url}/v1/live/a").status_code == 200
    assert httpx.get(f"{two[1].url}/v1/live/a").status_code == 404


def refused(server: ServiceProcess) -> None:
    response = server.post("a", STATE)
    assert (response.status_code, response.json()["code"]) == (503, "channels-unavailable"), response.text
    assert int(response.headers["retry-after"]) > 0


def test_a_store_that_comes_back_empty_begins_a_new_history(
    store: RedisServer, two: tuple[ServiceProcess, ServiceProcess]
) -> None:
    with Stream(two[0].port, "a") as here, Stream(two[1].port, "a") as there:
        old = [two[0].show("a", STATE), two[1].show("a", STATE)]
        assert [e.id for e in events(here, 2)] == [e.id for e in events(there, 2)] == old
        store.kill()
        for server in two:
            refused(server)
            gone = httpx.get(f"{server.url}/v1/live/a/events?follow=no")
            assert (gone.status_code, gone.json()["code"]) == (503, "channels-unavailable")
        assert here.next() == there.next() == Got(comment="heartbeat"), "who is there stays"
        store.start()
        for stream in (here, there):
            (reset,) = events(stream, 1)
            assert (reset.event, reset.data["why"]) == ("clear", "reset"), "what was shown is not there any more"
        new = two[1].show("a", STATE)
        assert new.partition("-")[0] != old[0].partition("-")[0]
        for stream in (here, there):
            assert [e.id for e in events(stream, 1)] == [new]
        with Stream(two[0].port, "a", old[0]) as again:
            assert [e.id for e in events(again, 1)] == [new], "no old count is taken for a new one"


def test_a_store_that_comes_back_with_an_older_snapshot_gives_no_id_twice(
    store: RedisServer, two: tuple[ServiceProcess, ServiceProcess]
) -> None:
    first = two[0].show("a", STATE)
    store.client.save()
    with Stream(two[1].port, "a", first) as watcher:
        lost = two[0].show("a", STATE)
        assert [e.id for e in events(watcher, 1)] == [lost]
        store.kill()
        store.start()
        (reset,) = events(watcher, 1)
        assert reset.event == "clear"
        new = two[0].show("a", STATE)
        assert new not in (first, lost)
        assert [e.id for e in events(watcher, 1)] == [new]


def test_events_that_were_not_delivered_are_caught_up_with(
    store: RedisServer, two: tuple[ServiceProcess, ServiceProcess]
) -> None:
    with Stream(two[0].port, "a") as watcher:
        watcher.next()
        sent = []
        for _ in range(10):
            store.client.client_kill_filter(_type="pubsub")
            sent.append(two[1].show("a", STATE))
        assert [e.id for e in events(watcher, 10)] == sent


def test_a_store_that_was_emptied_begins_a_new_history(
    store: RedisServer, two: tuple[ServiceProcess, ServiceProcess]
) -> None:
    with Stream(two[0].port, "a") as watcher:
        old = two[0].show("a", STATE)
        events(watcher, 1)
        store.client.flushall()
        assert [e.event for e in events(watcher, 1)] == ["clear"]
        new = two[0].show("a", STATE)
        assert (old.partition("-")[2], new.partition("-")[2]) == ("1", "1")
        assert old != new


def test_a_service_starts_without_its_store_and_finds_it_later(store: RedisServer) -> None:
    store.kill()
    with service(redis=store.url) as server:
        refused(server)
        assert httpx.get(f"{server.url}/v1/packs").status_code == 200
        store.start()
        with Stream(server.port, "a") as watcher:
            shown = server.show("a", STATE)
            assert [e.id for e in events(watcher, 1)] == [shown]


@pytest.mark.parametrize("kept_in", ["memory", "redis"])
def test_open_streams_do_not_hold_up_the_end(store: RedisServer, kept_in: str) -> None:
    more = {"redis": store.url} if kept_in == "redis" else {}
    with service(**more) as server, ExitStack() as stack:
        streams = [stack.enter_context(Stream(server.port, "a")) for _ in range(20)]
        with connect(f"ws://127.0.0.1:{server.port}/v1/live/a/socket") as socket:
            for stream in streams:
                stream.next()
            started = time.monotonic()
            server.process.send_signal(signal.SIGTERM)
            assert [stream.next() for stream in streams] == [None] * 20
            with pytest.raises(ConnectionClosed):
                socket.recv(2)
            assert time.monotonic() - started < 1
            assert server.process.wait(10) == 0
            assert time.monotonic() - started < 4, "less than the grace that requests have"
        assert server.process.stderr is not None
        assert "Traceback" not in server.process.stderr.read()


def test_a_state_expires_on_all_servers_once(store: RedisServer) -> None:
    given = {"redis": store.url, "channel_seconds": 2}
    with (
        service(**given) as one, service(**given) as other,
        Stream(one.port, "a") as here, Stream(other.port, "a") as there,
    ):
        here.next(), there.next()
        started = time.monotonic()
        one.show("a", STATE)
        got = events(here, 2)
        assert 1.9 < time.monotonic() - started < 5
        assert got == events(there, 2)
        assert (got[1].event, got[1].data["why"]) == ("clear", "expired")


def test_both_keepers_keep_alike(store: RedisServer) -> None:
    """The same steps at random in memory and in Redis; what they say differs in names of histories and clocks only."""
    settings = Settings(redis=store.url, channels=3, channel_history=2)

    async def outcome(log: Log, step: tuple[str, str, int]) -> Any:
        what, channel, n = step
        head = await log.head()
        place = Mark(head.epoch, n)
        try:
            if what == "read":
                seen = await log.read(channel, place)
                missed = None if seen.missed is None else [(e.mark.n, e.kind, e.payload) for e in seen.missed]
                return seen.head.n, seen.last and (seen.last.mark.n, seen.last.kind, seen.last.channel), missed
            if what == "shown":
                return sorted(name for name, _ in await log.shown())
            kind = "clear" if "clear" in what else "advice"
            payload = cleared("cleared") if kind == "clear" else b'{"n":"\xc3\xa9 %d"}' % n
            entry = await log.append(channel, kind, payload, place if "only" in what else None)  # type: ignore[arg-type]
            return entry and (entry.mark.n, entry.kind, entry.channel, entry.payload)
        except AdvisorError as error:
            return error.code

    async def compare() -> None:
        memory, in_redis = MemoryLog(settings), RedisLog(settings)
        dice = random.Random(7)
        kinds = ["advice", "advice", "advice only", "clear", "clear only", "read", "read", "shown"]
        seen = set()
        for i in range(1500):
            near = max(0, (await memory.head()).n - dice.randrange(5))
            step = (dice.choice(kinds), dice.choice("abcde"), near)
            here, there = await outcome(memory, step), await outcome(in_redis, step)
            assert here == there, (i, step)
            seen.add((step[0], str(here)[:8] if isinstance(here, str) else here is None))
        assert ("advice", "channels") in seen and ("advice only", True) in seen and ("advice only", False) in seen
        await in_redis.stop()

    asyncio.run(compare())
