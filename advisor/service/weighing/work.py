"""Weighing questions and studies: bytes in, bytes out. The desk does it in this process, ``pool.Pool`` in others."""

from __future__ import annotations

import asyncio
import logging
import multiprocessing
import os
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextvars import copy_context
from functools import cache
from typing import Any, NamedTuple, TypeVar

import msgspec

from advisor.errors import STATUS, AdvisorError
from advisor.library import Library, load_library
from advisor.sentences import spoken
from advisor.service.asking.bounds import BOUNDS, Bounds, check_bounds
from advisor.service.asking.reading import decode
from advisor.service.asking.spelling import words_of
from advisor.service.problems import PROBLEM, encode_problem, problem_of
from advisor.service.settings import Settings
from advisor.service.weighing.identity import etag_of, hash_of, normal
from advisor.service.weighing.kept import Kept, Recent
from advisor.service.weighing.tasks import ADVICE, TASKS, Task
from advisor.service.weighing.trials import Revisions, Trials

__all__ = ["JSON", "Answer", "Desk", "answer", "end_with_the_server", "load_settings", "refusal"]

JSON = "application/json"
MIB = 2**20
_log = logging.getLogger("advisor.service")
_ENCODER = msgspec.json.Encoder()
T = TypeVar("T")


def _task(name: str) -> Task:
    """A task, or an errand of the notebook: what serves those is loaded when there is one."""
    if name in TASKS:
        return TASKS[name]
    from advisor.service.notes.errands import ERRANDS

    return ERRANDS[name]


@cache
def _decoder(name: str) -> msgspec.json.Decoder[Any]:
    return msgspec.json.Decoder(_task(name).request)


class Answer(NamedTuple):
    """Status, media type and body of a response; ``how`` it was found (``kept.Found``), empty when nothing is kept."""

    status: int
    media_type: str
    body: bytes
    how: str = ""


Key = tuple[bytes, str, str, str]
"""What was asked in one spelling, the media type, the notebook's revision, the language."""


def answer(
    library: Library, task: str, body: bytes, media_type: str = JSON, *, trials: Trials | None = None,
    bounds: Bounds = BOUNDS,
) -> Answer:
    """The response to one request; ``task`` is a key of ``TASKS``, ``media_type`` JSON or one of its pictures.

    Advice heeds ``trials``.
    """
    asked = _task(task)
    try:
        request = decode(body, _decoder(task), words_of(asked.request), bounds)
        heeds = trials is not None and asked is ADVICE
        found = trials.advise(library, request) if trials is not None and heeds else asked.run(library, request)
        if media_type != JSON:
            return Answer(200, media_type, asked.pictures[media_type](found, request))
        return Answer(200, JSON, _ENCODER.encode(found))
    except AdvisorError as error:
        if STATUS[error.code] >= 500:
            _log.error("%s could not be answered: %s", task, error.message)
        return refusal(error)


def refusal(error: AdvisorError) -> Answer:
    """The response for an error."""
    return Answer(STATUS[error.code], PROBLEM, encode_problem(problem_of(error)))


def end_with_the_server() -> None:
    """End this process when the server is gone, however it went: nobody else would."""
    server = multiprocessing.parent_process()
    if server is not None:
        server.join()
        os._exit(1)


def load_settings(settings: Settings) -> Library:
    """The library that the settings name. Errors: ``DataError``."""
    return load_library(
        packs=settings.packs, rules=settings.rules, engine=settings.engine, default=settings.default_pack
    )


class Desk:
    """Answers in this process, in one thread beside the loop; for tests, scripts and ``workers`` = 0.

    A long question holds up the others then, and is not bounded in time. Answers are kept when ``room`` (bytes) is
    given. ``losses`` counts worker processes that had to be replaced, ``plain_answers`` the questions that the plain
    evaluator answered in their place, ``late`` those that took too long, ``refused`` those there was no room for;
    ``weighed`` and ``seconds`` all that was weighed, and how long it took with waiting.
    """

    def __init__(
        self, library: Library, *, room: int = 0, trials: Trials | None = None, bounds: Bounds = BOUNDS
    ) -> None:
        self.library = library
        self.trials = trials
        self.bounds = bounds
        self.data = hash_of(library, trials.label if trials else "")
        self.kept: Kept[Key, Answer] | None = Kept(room - room // 8, _size) if room else None
        self._spelt: Recent[tuple[str, bytes], bytes] = Recent(room // 8)
        self._revisions = Revisions(trials) if trials else None
        # One thread: the rule engine is a C library, which is not called from two.
        self._thread: ThreadPoolExecutor | None = None
        self.losses = self.plain_answers = self.late = self.refused = self.weighed = 0
        self.seconds = 0.0
        self.seen: Callable[[str, float, Answer], None] | None = None
        """Told of everything that was weighed: the task, the seconds, the answer."""

    @classmethod
    def of(cls, library: Library, settings: Settings) -> Desk:
        """A desk as the settings have it."""
        return cls(library, room=settings.cache * MIB, trials=Trials(settings), bounds=Bounds.of(settings))

    @property
    def up(self) -> bool:
        """Whether something can be weighed now."""
        return True

    async def start(self) -> None:
        """Nothing to start."""

    async def stop(self) -> None:
        """Let go of the notebook and the thread."""
        if self._thread is not None:
            self._thread.shutdown(wait=False, cancel_futures=True)
            self._thread = None
        if self.trials is not None:
            await asyncio.to_thread(self.trials.close)

    async def ask(self, task: str, body: bytes, media_type: str = JSON) -> Answer:
        """The response to one request, as JSON or as one of the task's pictures; a kept one where there is one."""
        if self.kept is None:
            return await self._timed(task, body, media_type)
        key = await self.key(task, body, media_type)
        if key is None:
            return await self._timed(task, body, media_type)
        (status, form, found, _), how = await self.kept.get(key, lambda: self._timed(task, body, media_type))
        return Answer(status, form, found, how)

    async def key(self, task: str, body: bytes, media_type: str) -> Key | None:
        """What the answer hangs on beside the data; None for what is no request."""
        spelt = self._spelt.get((task, body))
        if spelt is None:
            spelt = self._read(task, body)
            if spelt is None:
                return None
            self._spelt.put((task, body), spelt, len(body))
        heeds = task == ADVICE.name and self._revisions is not None
        revision = await self._revisions.now() if self._revisions is not None and heeds else ""
        return spelt, media_type, revision, spoken()

    def _read(self, task: str, body: bytes) -> bytes | None:
        try:
            check_bounds(body, self.bounds)
        except AdvisorError:
            return None
        return normal(task, body)

    async def etag(self, task: str, body: bytes, media_type: str) -> str | None:
        """The entity tag that a good answer has, found without weighing; None for what is no request."""
        key = await self.key(task, body, media_type)
        return None if key is None else etag_of(self.data, key[0].hex(), *key[1:])

    async def _timed(self, task: str, body: bytes, media_type: str) -> Answer:
        try:
            check_bounds(body, self.bounds)
        except AdvisorError as error:
            return refusal(error)
        began = time.monotonic()
        try:
            found = await self.weigh(task, body, media_type)
        finally:
            seconds = time.monotonic() - began
            self.weighed += 1
            self.seconds += seconds
        if self.seen is not None:
            self.seen(task, seconds, found)
        return found

    async def errand(self, name: str, body: bytes) -> Answer:
        """What comes of an errand (``notes.errands``), which is never kept."""
        return await self._timed(name, body, JSON)

    async def weigh(self, task: str, body: bytes, media_type: str) -> Answer:
        """The response to one request, whatever is kept."""
        return await self.aside(
            lambda: answer(self.library, task, body, media_type, trials=self.trials, bounds=self.bounds)
        )

    async def aside(self, run: Callable[[], T]) -> T:
        """What ``run`` gives, in a thread of its own, one after the other."""
        if self._thread is None:
            self._thread = ThreadPoolExecutor(1, thread_name_prefix="desk")
        return await asyncio.get_running_loop().run_in_executor(self._thread, copy_context().run, run)


def _size(found: Answer) -> int | None:
    """Bytes of an answer; refusals and faults are not kept: the next try may be asked on other terms."""
    return len(found.body) if found.status == 200 else None
