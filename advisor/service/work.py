"""Weighing questions and studies: bytes in, bytes out, in this process or in worker processes.

Answering takes more than a moment of processor time, so the server hands the body to a pool of
processes and stays free for light requests. The rule engine is a C library: should a worker die in it, the
question is answered again by the plain evaluator, and counted.
"""

from __future__ import annotations

import asyncio
import logging
import multiprocessing
import os
import signal
import threading
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from typing import NamedTuple

import msgspec

from advisor.errors import STATUS, AdvisorError
from advisor.library import Library, load_library
from advisor.service.problems import PROBLEM, encode_problem, problem_of
from advisor.service.reading import decode
from advisor.service.settings import Settings
from advisor.service.spelling import words_of
from advisor.service.tasks import TASKS

__all__ = ["JSON", "Answer", "Desk", "Pool", "answer", "end_with_the_server", "load_settings"]

_log = logging.getLogger("advisor.service")
JSON = "application/json"
GRACE = 1.0
"""Seconds that a busy worker has to finish when the service stops."""
_DECODERS = {name: msgspec.json.Decoder(task.request) for name, task in TASKS.items()}
_ENCODER = msgspec.json.Encoder()


class Answer(NamedTuple):
    """Status, media type and body of a response."""

    status: int
    media_type: str
    body: bytes


def answer(library: Library, task: str, body: bytes, media_type: str = JSON) -> Answer:
    """The response to one request; ``task`` is a key of ``TASKS``, ``media_type`` JSON or one of its pictures."""
    asked = TASKS[task]
    try:
        request = decode(body, _DECODERS[task], words_of(asked.request))
        found = asked.run(library, request)
        if media_type != JSON:
            return Answer(200, media_type, asked.pictures[media_type](found, request))
        return Answer(200, JSON, _ENCODER.encode(found))
    except AdvisorError as error:
        if STATUS[error.code] >= 500:
            _log.error("%s could not be answered: %s", task, error.message)
        return Answer(STATUS[error.code], PROBLEM, encode_problem(problem_of(error)))


_library: Library | None = None


def _open(settings: Settings) -> None:
    """Load the library once in a worker process."""
    global _library
    # Ctrl-C reaches the whole group; the server decides when its workers end.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=end_with_the_server, daemon=True).start()
    _library = load_settings(settings)


def end_with_the_server() -> None:
    """End this process when the server is gone, however it went: nobody else would."""
    server = multiprocessing.parent_process()
    if server is not None:
        server.join()
        os._exit(1)


def _ready() -> bool:
    return _library is not None


def _answer(task: str, body: bytes, media_type: str = JSON) -> Answer:
    assert _library is not None
    return answer(_library, task, body, media_type)


def load_settings(settings: Settings) -> Library:
    """The library that the settings name. Errors: ``DataError``."""
    return load_library(
        packs=settings.packs, rules=settings.rules, engine=settings.engine, default=settings.default_pack
    )


class Desk:
    """Answers in this process; for tests, scripts and ``workers`` = 0.

    ``losses`` counts worker processes that had to be replaced, ``plain_answers`` the questions that
    the plain evaluator answered in their place.
    """

    def __init__(self, library: Library) -> None:
        self.library = library
        self.losses = 0
        self.plain_answers = 0

    async def start(self) -> None:
        """Nothing to start."""

    async def stop(self) -> None:
        """Nothing to stop."""

    async def ask(self, task: str, body: bytes, media_type: str = JSON) -> Answer:
        """The response to one request, as JSON or as one of the task's pictures."""
        return answer(self.library, task, body, media_type)


class Pool(Desk):
    """Answers in worker processes; a lost worker's question is answered by the plain evaluator.

    ``work`` is what a worker does with a task, its body and the media type; it has to be a function of a module.
    """

    def __init__(
        self, library: Library, settings: Settings, *, work: Callable[[str, bytes, str], Answer] = _answer
    ) -> None:
        super().__init__(library)
        self.settings = settings
        self._work = work
        self._plain: Library | None = None
        self._pool: ProcessPoolExecutor | None = None

    async def start(self) -> None:
        """Start the workers and wait until they have loaded their data."""
        pool = self._pool = self._fresh()
        await asyncio.gather(*(asyncio.wrap_future(pool.submit(_ready)) for _ in range(self.settings.workers)))

    def _fresh(self) -> ProcessPoolExecutor:
        return ProcessPoolExecutor(
            self.settings.workers,
            mp_context=multiprocessing.get_context("spawn"),
            initializer=_open,
            initargs=(self.settings,),
        )

    async def stop(self) -> None:
        """End the workers: those that are still busy after a moment are ended by force."""
        pool, self._pool = self._pool, None
        if pool is not None:
            await asyncio.to_thread(_end, pool)

    async def ask(self, task: str, body: bytes, media_type: str = JSON) -> Answer:
        """The response to one request. Errors: ``AdvisorError`` ``fault`` when the service is stopping."""
        pool = self._pool
        if pool is None:
            raise AdvisorError("fault", "the service is stopping")
        try:
            return await asyncio.wrap_future(pool.submit(self._work, task, body, media_type))
        except BrokenProcessPool:
            if self._pool is pool:
                self.losses += 1
                self._pool = self._fresh()
                self._pool.submit(_ready)
            self.plain_answers += 1
            _log.error("a worker was lost (%d so far); answering with the plain evaluator", self.losses)
            return await asyncio.to_thread(self._again, task, body, media_type)

    def _again(self, task: str, body: bytes, media_type: str) -> Answer:
        if self._plain is None:
            self._plain = self.library.with_engine("plain")
        return answer(self._plain, task, body, media_type)


def _end(pool: ProcessPoolExecutor) -> None:
    """Shut the pool down and see to it that none of its processes is left."""
    workers = list((pool._processes or {}).values())
    pool.shutdown(wait=False, cancel_futures=True)
    until = time.monotonic() + GRACE
    for worker in workers:
        worker.join(max(0.0, until - time.monotonic()))
        if worker.is_alive():
            worker.kill()
            worker.join()
