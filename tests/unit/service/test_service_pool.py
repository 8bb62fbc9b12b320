"""The pool of workers: a worker that dies costs nobody an answer, and none is left behind."""

from __future__ import annotations

import asyncio
import errno
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
from worker_tasks import dies, dies_of_one_body, fails, hangs, sleeps

from advisor.advice import Advice
from advisor.errors import AdvisorError
from advisor.library import Library
from advisor.rules.engine import engine_available
from advisor.service.app import create_app
from advisor.service.settings import Settings
from advisor.service.weighing import work
from advisor.service.weighing.pool import GRACE, Pool
from advisor.service.weighing.work import Desk

ADVICE = "advice"
BODY = json.dumps(question()).encode()
ENGINE = "durable" if engine_available() else "plain"
SETTINGS = Settings(workers=2)


def workers(pool: Pool) -> list[psutil.Process]:
    return [psutil.Process(pid) for pid in pool.processes]


async def replaced(pool: Pool) -> None:
    until = time.monotonic() + 20
    while len(pool._idle) < pool.settings.workers:
        assert time.monotonic() < until
        await asyncio.sleep(0.02)


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
        await replaced(pool)
        last = workers(pool)
        assert len({p.pid for p in first} & {p.pid for p in last}) == 1, "the other one is left alone"
        await pool.stop()
        assert ended(last)

    with caplog.at_level(logging.ERROR):
        asyncio.run(play())
    assert [r.message for r in caplog.records] == [
        "a worker was lost (1 so far); answering with the plain evaluator"
    ]


class _NoRoomOnce(Pool):
    """The second process that it starts finds no descriptors left."""

    starts = 0

    async def _add(self) -> None:
        self.starts += 1
        if self.starts == 2:
            raise OSError(errno.EMFILE, os.strerror(errno.EMFILE))
        await super()._add()


def test_a_worker_that_cannot_be_started_is_tried_again(library: Library, caplog: pytest.LogCaptureFixture) -> None:
    async def play() -> None:
        pool = _NoRoomOnce(library, Settings(workers=1, engine="plain"))
        await pool.start()
        workers(pool)[0].kill()
        while not pool.losses:
            await asyncio.sleep(0.02)
        await replaced(pool)
        assert pool.starts == 3
        assert evaluator(await pool.ask(ADVICE, BODY)) == "plain"
        await pool.stop()

    with caplog.at_level(logging.ERROR):
        asyncio.run(play())
    assert "cannot be started" in caplog.text


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
def test_questions_that_workers_die_of_are_all_answered(library: Library) -> None:
    async def play() -> None:
        pool = Pool(library, Settings(workers=2, seconds=30), work=dies)
        await pool.start()
        answers = await asyncio.gather(*(pool.ask(ADVICE, BODY) for _ in range(4)))
        assert {evaluator(a) for a in answers} == {"plain"}
        assert len({a.body for a in answers}) == 1
        assert (pool.losses, pool.plain_answers) == (4, 4)
        await pool.stop()

    asyncio.run(play())


def code_of(answer: work.Answer) -> str:
    assert answer.status == 503
    return str(json.loads(answer.body)["code"])


def test_a_question_that_takes_too_long_is_ended_and_the_others_are_not(library: Library) -> None:
    async def play() -> None:
        pool = Pool(library, Settings(workers=2, seconds=1, waiting=1), work=sleeps)
        await pool.start()
        before = set(pool.processes)
        heavy = [asyncio.ensure_future(pool.ask("round", b"60"))]
        await asyncio.sleep(0.3)
        heavy.append(asyncio.ensure_future(pool.ask(ADVICE, b"0.5")))
        waits = asyncio.ensure_future(pool.ask(ADVICE, b"0"))
        await asyncio.sleep(0)
        assert code_of(await asyncio.wait_for(pool.ask(ADVICE, b"0"), 0.1)) == "busy", "there is room for one to wait"
        late, good = await asyncio.gather(*heavy)
        assert code_of(late) == "too-heavy"
        assert "`/v1/jobs`" in json.loads(late.body)["help"]
        assert good.status == 200, "the other worker was left alone"
        assert (await waits).status == 200
        while pool.losses == 0:
            await asyncio.sleep(0.01)
        await replaced(pool)
        assert (pool.late, pool.losses, pool.plain_answers, pool.refused) == (1, 1, 0, 1)
        assert len(set(pool.processes) & before) == 1
        assert (await pool.ask(ADVICE, b"0")).status == 200
        await pool.stop()

    asyncio.run(play())


@pytest.mark.full
def test_a_question_waits_no_longer_than_it_may_be_weighed(library: Library) -> None:
    async def play() -> None:
        pool = Pool(library, Settings(workers=1, seconds=1), work=sleeps)
        await pool.start()
        weighed, waited = await asyncio.gather(pool.ask(ADVICE, b"60"), pool.ask(ADVICE, b"0"))
        assert (code_of(weighed), code_of(waited)) == ("too-heavy", "busy")
        await pool.stop()

    asyncio.run(play())


@pytest.mark.full
def test_a_fault_in_a_worker_is_a_problem_and_the_worker_goes_on(library: Library) -> None:
    async def play() -> None:
        pool = Pool(library, Settings(workers=1), work=fails)
        await pool.start()
        before = pool.processes
        answer = await pool.ask(ADVICE, BODY)
        assert (answer.status, b"secret" in answer.body) == (500, False)
        assert (pool.processes, pool.losses) == (before, 0)
        await pool.stop()

    asyncio.run(play())


@pytest.mark.full
def test_workers_that_cannot_start_are_said_at_once_and_leave_nothing(library: Library, tmp_path: Path) -> None:
    async def play() -> None:
        pool = Pool(library, Settings(workers=2, packs=(tmp_path / "gone",)))
        with pytest.raises(AdvisorError, match="could not start"):
            await pool.start()
        assert pool.processes == []
        with pytest.raises(AdvisorError, match="stopping"):
            await pool.ask(ADVICE, BODY)

    asyncio.run(play())


def test_the_answer_and_the_count_are_seen_from_outside(library: Library) -> None:
    pool = Pool(library, SETTINGS, work=dies)
    with TestClient(create_app(SETTINGS, library, desk=pool)) as client:
        response = client.post("/v1/advice", json=question())
        assert (response.status_code, response.json()["pack"]["evaluator"]) == (200, "plain")
        health = client.get("/v1/health/live").json()
        assert (health["worker_losses"], health["plain_answers"]) == (1, 1)
    assert pool.processes == []


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
        assert time.monotonic() - started < GRACE + 1
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
