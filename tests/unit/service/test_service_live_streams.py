"""Streams of live channels over real sockets: what comes, when it ends, and who is cut off."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from typing import Any

import httpx
import pytest
from live_streams import Running, Stream, running
from test_service_live import SHORT
from websockets.exceptions import ConnectionClosed, InvalidStatus
from websockets.sync.client import ClientConnection, connect

from advisor.library import Library


@pytest.fixture(scope="module")
def server(library: Library) -> Iterator[Running]:
    with running(library, heartbeat=1) as server:
        yield server


def show(server: Running, channel: str) -> str:
    response = httpx.post(f"{server.url}/v1/live/{channel}", json={"question": SHORT})
    return str(response.raise_for_status().json()["id"])


def socket(server: Running, channel: str, **more: Any) -> ClientConnection:
    return connect(f"ws://127.0.0.1:{server.port}/v1/live/{channel}/socket", **more)


def message(watcher: ClientConnection) -> tuple[str, str]:
    """Id and event of the next message that is no heartbeat."""
    while (got := json.loads(watcher.recv(5)))["event"] == "heartbeat":
        pass
    return got["id"], got["event"]


def test_an_event_reaches_who_was_there_and_who_comes_later(server: Running) -> None:
    with Stream(server.port, "a") as early, socket(server, "a") as talk:
        first = show(server, "a")
        with Stream(server.port, "a") as late:
            second = show(server, "a")
            over = httpx.delete(f"{server.url}/v1/live/a").json()["id"]
            for watcher in (early, late):
                got = [watcher.event() for _ in range(3)]
                assert [(e.id, e.event) for e in got if e] == [(first, "advice"), (second, "advice"), (over, "clear")]
        assert [message(talk) for _ in range(3)] == [(first, "advice"), (second, "advice"), (over, "clear")]
        assert "permessage-deflate" not in str(talk.response and talk.response.headers), "each would be packed anew"


def test_coming_back_with_the_last_id_misses_nothing(server: Running) -> None:
    with Stream(server.port, "b") as watcher:
        show(server, "b")
        watcher.event()
        last = watcher.last
    missed = [show(server, "b") for _ in range(3)]
    for query in (True, False):
        with Stream(server.port, "b", last, query=query) as again:
            assert [e.id for _ in missed if (e := again.event())] == missed
    with socket(server, "b", additional_headers={"Last-Event-ID": last}) as talk:
        assert [message(talk)[0] for _ in missed] == missed


def test_signs_of_life_come_when_nothing_else_does(server: Running) -> None:
    with Stream(server.port, "c") as watcher, socket(server, "c") as talk:
        got = watcher.next()
        assert got is not None and 1000 <= got.retry <= 3000
        for _ in range(2):
            started = time.monotonic()
            got = watcher.next()
            assert got is not None and got.comment == "heartbeat"
            assert time.monotonic() - started < 1.5
        assert json.loads(talk.recv(2)) == {"event": "heartbeat"}


def test_a_socket_is_refused_with_the_problem_and_takes_nothing(server: Running) -> None:
    with pytest.raises(InvalidStatus) as refused:
        socket(server, "NOT-A-NAME")
    assert refused.value.response.status_code == 400
    assert json.loads(refused.value.response.body or b"")["code"] == "value-invalid"
    with socket(server, "d") as talk:
        talk.send("hello")
        with pytest.raises(ConnectionClosed) as closed:
            talk.recv(2)
    assert closed.value.rcvd is not None and closed.value.rcvd.code == 1008


def settled(server: Running, count: int) -> bool:
    until = time.monotonic() + 5
    while server.hub.subscribers != count and time.monotonic() < until:
        time.sleep(0.01)
    return server.hub.subscribers == count and server.hub.rooms == min(count, 1)


def test_who_leaves_is_forgotten(server: Running) -> None:
    assert settled(server, 0)
    with Stream(server.port, "e") as one, socket(server, "e"):
        one.next()
        assert settled(server, 2)
    assert settled(server, 0)


def test_who_reads_too_slowly_is_cut_off_and_nobody_else_notices(library: Library) -> None:
    large = json.dumps({"filler": "x" * 300_000}).encode()
    with (
        running(library, channel_queue=2, channel_history=100) as server,
        Stream(server.port, "f", small=True) as slow, Stream(server.port, "f") as quick,
    ):
        slow.next()
        sent: list[str] = []
        while not server.hub.dropped:
            entry = server.call(server.hub.publish("f", large))
            assert entry is not None
            sent.append(str(entry.mark))
            started = time.monotonic()
            got = quick.event()
            assert got is not None and got.id == sent[-1]
            assert time.monotonic() - started < 1
            assert len(sent) < 90
        assert settled(server, 1)
        assert server.hub.dropped == 1
        while slow.event() is not None:
            pass
        assert slow.last in sent[:-1]
        missed = sent[sent.index(slow.last) + 1 :]
        with Stream(server.port, "f", slow.last) as again:
            assert [e.id for _ in missed if (e := again.event())] == missed


def test_streams_end_when_the_server_is_about_to(library: Library) -> None:
    with running(library) as server:
        with Stream(server.port, "g") as watcher, socket(server, "g") as talk:
            watcher.next()
            started = time.monotonic()
            assert server.loop is not None
            server.loop.call_soon_threadsafe(server.app.leave)
            assert watcher.next() is None
            with pytest.raises(ConnectionClosed) as closed:
                talk.recv(2)
            assert closed.value.rcvd is not None and closed.value.rcvd.code == 1012
            assert time.monotonic() - started < 0.5
        refused = httpx.get(f"{server.url}/v1/live/g/events")
        assert (refused.status_code, refused.json()["code"]) == (503, "channels-unavailable")
