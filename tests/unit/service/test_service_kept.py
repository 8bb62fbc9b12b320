"""Answers that are kept: told apart by what they hang on alone, weighed once, bounded in bytes."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Coroutine
from typing import Any

import pytest
from litestar.testing import TestClient
from test_service_bodies import question

from advisor.library import Library
from advisor.service.app import create_app
from advisor.service.settings import Settings
from advisor.service.weighing.kept import ENTRY, Kept, Recent
from advisor.service.weighing.tasks import TASKS
from advisor.service.weighing.work import Answer, Desk

BODY = json.dumps(question()).encode()


class Counting(Desk):
    """Weighs nothing, but counts how often it was asked to, and takes a moment."""

    count = 0
    status = 200

    async def weigh(self, task: str, body: bytes, media_type: str) -> Answer:
        self.count += 1
        await asyncio.sleep(0.01)
        return Answer(self.status, media_type, b"%d" % self.count)


def play(run: Coroutine[Any, Any, None]) -> None:
    asyncio.run(run)


SAME = [
    json.dumps(question(), indent=3).encode(),
    json.dumps(dict(reversed(question().items()))).encode(),
    json.dumps({**question(), "sources": False, "explain": "full", "pack": None}).encode(),
    json.dumps(question()).replace("wenna", "\\u0077enna").encode(),
]
OTHERS = [question(limit=2), question(distance=1.0), question(sources=True), question(replies=["putty_jab"])]


def test_spelling_order_and_written_defaults_do_not_matter(library: Library) -> None:
    async def run() -> None:
        desk = Counting(library, room=2**20)
        first = await desk.ask("advice", BODY)
        assert (first.how, desk.count) == ("miss", 1)
        for body in SAME:
            assert await desk.ask("advice", body) == first._replace(how="hit")
        assert (desk.count, desk.kept and desk.kept.hits) == (1, len(SAME))
        for changed in OTHERS:
            assert (await desk.ask("advice", json.dumps(changed).encode())).how == "miss"
        assert (await desk.ask("advice", BODY, "image/png")).how == "miss"
        assert (await desk.ask("round", b"{}")).how == "", "that is no request of this study"

    play(run())


def test_the_same_asked_fifty_times_at_once_is_weighed_once(library: Library) -> None:
    async def run() -> None:
        desk = Counting(library, room=2**20)
        asked = [asyncio.ensure_future(desk.ask("advice", [BODY, *SAME][i % 5])) for i in range(50)]
        await asyncio.sleep(0.005)
        asked[0].cancel()  # Who asked first goes; the others still get what it asked for.
        found = await asyncio.gather(*asked, return_exceptions=True)
        assert isinstance(found[0], asyncio.CancelledError)
        assert {one.body for one in found[1:] if isinstance(one, Answer)} == {b"1"}
        assert {one.how for one in found[1:] if isinstance(one, Answer)} == {"shared"}
        assert (await desk.ask("advice", BODY)).how == "hit"

    play(run())


@pytest.mark.parametrize("status", [404, 422, 500, 503])
def test_refusals_and_faults_are_not_kept(library: Library, status: int) -> None:
    async def run() -> None:
        desk = Counting(library, room=2**20)
        desk.status = status
        assert [(await desk.ask("advice", BODY)).how for _ in range(2)] == ["miss", "miss"]

    play(run())


def test_a_failure_is_told_to_all_who_wait_and_the_next_one_tries_again() -> None:
    async def run() -> None:
        kept: Kept[str, bytes] = Kept(10_000, len)

        async def fail() -> bytes:
            await asyncio.sleep(0)
            raise ValueError("no")

        async def good() -> bytes:
            return b"x"

        found = await asyncio.gather(*(kept.get("a", fail) for _ in range(3)), return_exceptions=True)
        assert [type(one) for one in found] == [ValueError] * 3
        assert (await kept.get("a", good)).how == "miss"

    play(run())


def test_what_a_loop_left_behind_is_made_again() -> None:
    kept: Kept[str, bytes] = Kept(10_000, len)

    async def never() -> bytes:
        await asyncio.sleep(600)
        return b""

    async def good() -> bytes:
        return b"x"

    async def leave() -> None:
        asyncio.ensure_future(kept.get("a", never))  # noqa: RUF006 - nobody waits for it
        await asyncio.sleep(0.01)

    loop = asyncio.new_event_loop()
    loop.run_until_complete(leave())
    assert kept._making
    found = asyncio.run(asyncio.wait_for(kept.get("a", good), 1))
    assert found == (b"x", "miss")
    for task in asyncio.all_tasks(loop):
        task.cancel()
    loop.run_until_complete(asyncio.sleep(0.01))
    loop.close()


def test_room_is_counted_in_bytes_and_the_least_used_go_first() -> None:
    recent: Recent[int, bytes] = Recent(10 * (100 + ENTRY))
    for i in range(10):
        recent.put(i, b"x" * 100, 100)
    assert recent.get(0) is not None
    for i in range(10, 15):
        recent.put(i, b"x" * 100, 100)
        assert recent.held <= recent.room
    assert [i for i in range(15) if recent.get(i) is not None] == [0, *range(6, 15)]
    recent.put(0, b"", 50)
    assert recent.held == 9 * (100 + ENTRY) + 50 + ENTRY
    recent.put(99, b"", recent.room)
    assert recent.get(99) is None and len(recent) == 10


def test_callers_are_told_and_nothing_is_kept_when_there_is_no_room(library: Library) -> None:
    for cache, said in ((1, ["advisor; fwd=miss", "advisor; hit"]), (0, [None, None])):
        with TestClient(create_app(Settings(workers=0, cache=cache), library)) as client:
            got = [client.post("/v1/advice", json=question()) for _ in range(2)]
            assert [one.headers.get("cache-status") for one in got] == said
            assert got[0].content == got[1].content


def test_the_servers_own_process_goes_on_while_it_weighs(library: Library) -> None:
    async def run() -> None:
        desk = Desk(library)
        asked = asyncio.ensure_future(desk.ask("coverage", json.dumps(TASKS["coverage"].example).encode()))
        ticks = 0
        while not asked.done():
            await asyncio.sleep(0.001)
            ticks += 1
        assert asked.result().status == 200
        assert ticks > 3
        await desk.stop()

    play(run())
