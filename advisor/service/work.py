"""Weighing questions: bytes in, bytes out, in this process or in worker processes.

Answering takes more than a moment of processor time, so the server hands the body to a pool of
processes and stays free for light requests. The rule engine is a C library: should a worker die in it, the
question is answered again by the plain evaluator, and counted.
"""

from __future__ import annotations

import asyncio
import logging
import multiprocessing
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from typing import NamedTuple

import msgspec

from advisor.errors import STATUS, AdvisorError
from advisor.facts.question import Question
from advisor.library import Library, load_library
from advisor.service.problems import PROBLEM, decode, encode_problem, problem_of
from advisor.service.settings import Settings

__all__ = ["Answer", "Desk", "Pool", "answer", "load_settings"]

_log = logging.getLogger("advisor.service")
JSON = "application/json"
_DECODER = msgspec.json.Decoder(Question)
_ENCODER = msgspec.json.Encoder()


class Answer(NamedTuple):
    """Status, media type and body of a response."""

    status: int
    media_type: str
    body: bytes


def _names() -> dict[str, list[str]]:
    """Known field names by the JSON pointer of their object, for suggestions."""
    from advisor.facts import question as q

    def fields(*structs: type) -> list[str]:
        return sorted({f.encode_name for s in structs for f in msgspec.structs.fields(s)})

    moments = (q.Blocked, q.HitLanded, q.CounterHit, q.Whiffed, q.Advantage, q.Neutral)
    return {
        "": fields(q.Question),
        "/me": fields(q.Fighter),
        "/them": fields(q.Fighter),
        "/moment": ["kind", *fields(*moments)],
        "/moment/kind": ["blocked", "hit", "counter_hit", "whiffed", "advantage", "neutral"],
        "/moment/attacker": ["me", "them"],
        "/moment/held": ["recovery", "blockstun", "hitstun"],
        "/replies": ["key", "all", "a list of ids"],
    }


NAMES = _names()


def answer(library: Library, body: bytes) -> Answer:
    """The response to one question."""
    try:
        question = decode(body, _DECODER, NAMES)
        return Answer(200, JSON, _ENCODER.encode(library.ask(question)))
    except AdvisorError as error:
        if STATUS[error.code] >= 500:
            _log.error("a question could not be answered: %s", error.message)
        return Answer(STATUS[error.code], PROBLEM, encode_problem(problem_of(error)))


_library: Library | None = None


def _open(settings: Settings) -> None:
    """Load the library once in a worker process."""
    global _library
    _library = load_settings(settings)


def _ready() -> bool:
    return _library is not None


def _answer(body: bytes) -> Answer:
    assert _library is not None
    return answer(_library, body)


def load_settings(settings: Settings) -> Library:
    """The library that the settings name. Errors: ``DataError``."""
    return load_library(
        packs=settings.packs, rules=settings.rules, engine=settings.engine, default=settings.default_pack
    )


class Desk:
    """Answers in this process; for tests, scripts and ``workers`` = 0."""

    losses = 0

    def __init__(self, library: Library) -> None:
        self.library = library

    async def start(self) -> None:
        """Nothing to start."""

    async def stop(self) -> None:
        """Nothing to stop."""

    async def ask(self, body: bytes) -> Answer:
        return answer(self.library, body)


class Pool(Desk):
    """Answers in worker processes; a lost worker's question is answered by the plain evaluator."""

    def __init__(
        self, library: Library, settings: Settings, *, task: Callable[[bytes], Answer] = _answer
    ) -> None:
        super().__init__(library)
        self.settings = settings
        self.losses = 0
        self._task = task
        self._plain: Library | None = None
        self._pool: ProcessPoolExecutor | None = None

    async def start(self) -> None:
        """Start the workers and wait until one has loaded its data."""
        self._pool = self._fresh()
        await asyncio.wrap_future(self._pool.submit(_ready))

    def _fresh(self) -> ProcessPoolExecutor:
        return ProcessPoolExecutor(
            self.settings.workers,
            mp_context=multiprocessing.get_context("spawn"),
            initializer=_open,
            initargs=(self.settings,),
        )

    async def stop(self) -> None:
        if self._pool is not None:
            self._pool.shutdown(wait=False, cancel_futures=True)
            self._pool = None

    async def ask(self, body: bytes) -> Answer:
        pool = self._pool
        if pool is None:
            raise AdvisorError("fault", "the service is stopping")
        try:
            return await asyncio.wrap_future(pool.submit(self._task, body))
        except BrokenProcessPool:
            self.losses += 1
            _log.error("a worker was lost (%d so far); answering with the plain evaluator", self.losses)
            if self._pool is pool:
                self._pool = self._fresh()
            return await asyncio.to_thread(self._again, body)

    def _again(self, body: bytes) -> Answer:
        if self._plain is None:
            self._plain = self.library.with_engine("plain")
        return answer(self._plain, body)

