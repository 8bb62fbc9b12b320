"""The pool of workers: a worker that dies costs nobody an answer, and none is left behind."""

from __future__ import annotations

import asyncio
import json
import logging
import multiprocessing
import os
import signal
import time
from pathlib import Path

import msgspec
import psutil
import pytest
from litestar.testing import TestClient
from test_service_bodies import question
from worker_tasks import dies, dies_of_one_body, hangs

from advisor.advice import Advice
from advisor.errors import AdvisorError
from advisor.library import Library
from advisor.rules.engine import engine_available
from advisor.service import work
from advisor.service.app import create_app
from advisor.service.settings import Settings
from advisor.service.work import Desk, Pool

ADVICE = "advice"
BODY = json.dumps(question()).encode()
ENGINE = "durable" if engine_available() else "plain"
SETTINGS = Settings(workers=2)


def workers(pool: Pool) -> list[psutil.Process]:
    executor = pool._pool
    assert executor is not None
    return [psutil.Process(pid) for pid in list(executor._processes or {})]


def ended(processes: list[psutil.Process]) -> bool:
    return not psutil.wait_procs(processes, timeout=5)[1]


def evaluator(answer: work.Answer) -> str:
    assert answer.status == 200
    return msgspec.json.decode(answer.body, type=Advice).pack.evaluator


def test_a_worker_that_dies_in_the_engine_is_replaced(library: Library, caplog: pytest.LogCaptureFixture) -> None:
    async def play() -> None:
        pool = Pool(library, SETTINGS, work=dies_of_one_body)
        await pool.start()
        first = workers(pool)
        assert len(first) == 2
        assert evaluator(await pool.ask(ADVICE, BODY)) == ENGINE

        assert evaluator(await pool.ask(ADVICE, b" " + BODY)) == "plain"
        assert (pool.losses, pool.plain_answers) == (1, 1)

        assert evaluator(await pool.ask(ADVICE, BODY)) == ENGINE
        assert (pool.losses, pool.plain_answers) == (1, 1)
        assert ended(first)
        last = workers(pool)
        await pool.stop()
        assert ended(last)

    with caplog.at_level(logging.ERROR):
        asyncio.run(play())
    assert [r.message for r in caplog.records] == [
        "a worker was lost (1 so far); answering with the plain evaluator"
    ]


def test_a_worker_killed_from_outside_is_replaced(library: Library) -> None:
    async def play() -> None:
        pool = Pool(library, SETTINGS)
        await pool.start()
        victim = workers(pool)[0]
        victim.kill()
        victim.wait(5)
        for _ in range(50):
            assert evaluator(await pool.ask(ADVICE, BODY)) in (ENGINE, "plain")
            if pool.losses:
                break
            await asyncio.sleep(0.05)
        assert pool.losses == 1
        assert evaluator(await pool.ask(ADVICE, BODY)) == ENGINE
        await pool.stop()

    asyncio.run(play())


@pytest.mark.full
def test_questions_of_one_lost_pool_are_all_answered_and_it_is_replaced_once(library: Library) -> None:
    async def play() -> None:
        pool = Pool(library, SETTINGS, work=dies)
        await pool.start()
        answers = await asyncio.gather(*(pool.ask(ADVICE, BODY) for _ in range(6)))
        assert {evaluator(a) for a in answers} == {"plain"}
        assert len({a.body for a in answers}) == 1
        assert (pool.losses, pool.plain_answers) == (1, 6)
        await pool.stop()

    asyncio.run(play())


def test_the_answer_and_the_count_are_seen_from_outside(library: Library) -> None:
    pool = Pool(library, SETTINGS, work=dies)
    with TestClient(create_app(SETTINGS, library, desk=pool)) as client:
        response = client.post("/v1/advice", json=question())
        assert (response.status_code, response.json()["pack"]["evaluator"]) == (200, "plain")
        health = client.get("/v1/health/live").json()
        assert (health["worker_losses"], health["plain_answers"]) == (1, 1)
    assert pool._pool is None


def test_pool_and_desk_say_the_same(library: Library) -> None:
    bodies = [
        BODY, b"", b"[]", json.dumps(question(me={"character": "wena"})).encode(),
        json.dumps(question(responses=None, replies="key", limit=5, sources=True)).encode(),
    ]  # fmt: skip

    async def play() -> None:
        pool = Pool(library, Settings(workers=1, engine="plain"))
        await pool.start()
        for body in bodies:
            assert await pool.ask(ADVICE, body) == await Desk(library).ask(ADVICE, body)
        await pool.stop()

    asyncio.run(play())


@pytest.mark.full
def test_a_busy_worker_does_not_hold_up_the_end(library: Library, tmp_path: Path) -> None:
    async def play() -> None:
        pool = Pool(library, SETTINGS, work=hangs)
        await pool.start()
        every = workers(pool)
        note = tmp_path / "busy"
        asked = asyncio.ensure_future(pool.ask(ADVICE, str(note).encode()))
        while not note.exists():
            await asyncio.sleep(0.02)
        started = time.monotonic()
        await pool.stop()
        assert time.monotonic() - started < work.GRACE + 1
        assert ended(every)
        asked.cancel()
        with pytest.raises(AdvisorError, match="stopping"):
            await pool.ask(ADVICE, BODY)

    asyncio.run(play())


def test_workers_end_with_a_server_that_is_killed(tmp_path: Path) -> None:
    """Nobody tells them; they watch the server themselves."""
    note = tmp_path / "workers"
    context = multiprocessing.get_context("spawn")
    server = context.Process(target=_serve_for_ever, args=(note,))
    server.start()
    try:
        until = time.monotonic() + 30
        while not note.exists() or not note.read_text("ascii").endswith("\n"):
            assert time.monotonic() < until
            time.sleep(0.05)
        processes = [psutil.Process(int(pid)) for pid in note.read_text("ascii").split()]
        assert len(processes) == 2
        assert server.pid is not None
        os.kill(server.pid, signal.SIGKILL)
        assert ended(processes)
    finally:
        server.kill()
        server.join()


def _serve_for_ever(note: Path) -> None:
    from advisor.library import load_library

    async def play() -> None:
        pool = Pool(load_library(engine="plain"), Settings(workers=2, engine="plain"))
        await pool.start()
        note.write_text(" ".join(str(p.pid) for p in workers(pool)) + "\n", encoding="ascii")
        await asyncio.sleep(600)

    asyncio.run(play())
