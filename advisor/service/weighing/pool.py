"""Worker processes that weigh questions, each over a line of its own.

They share no lock and no pipe: one that dies, or is ended because a question takes too long, costs its own question
alone, and is replaced. The rule engine is a C library; should a worker die in it, the plain evaluator answers.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import multiprocessing
import socket
from collections.abc import Coroutine
from functools import partial
from typing import Any

from advisor.errors import AdvisorError
from advisor.library import Library
from advisor.sentences import speaking
from advisor.sentences.catalogue import ENGLISH
from advisor.service.asking.bounds import Bounds
from advisor.service.seen.about import ABOUT
from advisor.service.settings import Settings
from advisor.service.weighing.trials import Trials
from advisor.service.weighing.work import MIB, Answer, Desk, answer, refusal
from advisor.service.weighing.worker import HEAD, Work, frame, read_answer, run_worker, weigh
from advisor.studies import STUDIES

__all__ = ["GRACE", "Pool"]

GRACE = 1.0
"""Seconds that a busy worker has to finish when the service stops."""
PAUSE, LONGEST_PAUSE = 0.2, 10.0
"""Seconds before another worker is tried when one died while it was loading: twice as many each time, up to these."""
_log = logging.getLogger("advisor.service")


class _Asked:
    """One question on its way; ``timer`` ends its wait, and then its weighing."""

    def __init__(self, task: str, body: bytes, media_type: str, loop: asyncio.AbstractEventLoop) -> None:
        self.task, self.body, self.media_type = task, body, media_type
        self.about = ABOUT.get()
        self.answer: asyncio.Future[Answer] = loop.create_future()
        self.timer: asyncio.TimerHandle | None = None

    def settle(self, found: Answer | BaseException) -> None:
        """Give the answer, unless nobody waits for it any more."""
        if self.timer is not None:
            self.timer.cancel()
        if not self.answer.done():
            self.answer.set_exception(found) if isinstance(found, BaseException) else self.answer.set_result(found)


class _Worker(asyncio.Protocol):
    """One process and the line to it."""

    def __init__(self, pool: Pool) -> None:
        self.pool = pool
        self.process: Any = None
        self.asked: _Asked | None = None
        self.ready = self.ending = False
        self._line: asyncio.Transport | None = None
        self._got = bytearray()

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """The line is there; the process may still be starting."""
        self._line = transport  # type: ignore[assignment]

    def give(self, asked: _Asked) -> None:
        """Let it weigh a question."""
        assert self._line is not None
        self.asked = asked
        self._line.write(frame((asked.task, asked.body, asked.media_type, asked.about)))

    def data_received(self, data: bytes) -> None:
        """A part of a frame, or more than one."""
        self._got += data
        while len(self._got) >= HEAD.size:
            end = HEAD.size + HEAD.unpack_from(self._got)[0]
            if len(self._got) < end:
                return
            content = bytes(self._got[HEAD.size : end])
            del self._got[:end]
            asked, self.asked = self.asked, None
            if asked is not None:
                asked.settle(read_answer(content))
            self.ready = True
            if not self.ending:
                self.pool.free(self)

    def connection_lost(self, exc: Exception | None) -> None:  # noqa: ARG002
        """The process is gone, or was told to go."""
        self.pool.lost(self)

    def leave(self) -> None:
        """Tell it that nothing more will come."""
        if self._line is not None:
            self._line.close()


class Pool(Desk):
    """Answers in worker processes; ``work`` is what a worker does, a function of a module."""

    def __init__(self, library: Library, settings: Settings, *, room: int = 0, work: Work = weigh) -> None:
        trials = Trials(settings)
        super().__init__(library, room=room, trials=trials, bounds=Bounds.of(settings))
        self._sent = (settings, trials.place, work)
        self.settings = settings
        self._plain: Library | None = None
        self._open = False
        self._failed = 0
        self._workers: set[_Worker] = set()
        self._idle: list[_Worker] = []
        self._line: dict[_Asked, None] = {}
        self._tasks: set[asyncio.Task[Any]] = set()
        self._closing = asyncio.Event()
        self._started: asyncio.Future[None] | None = None

    @classmethod
    def of(cls, library: Library, settings: Settings) -> Pool:
        """A pool as the settings have it."""
        return cls(library, settings, room=settings.cache * MIB)

    @property
    def up(self) -> bool:
        """Whether a worker is there."""
        return any(worker.ready for worker in self._workers)

    @property
    def processes(self) -> list[int]:
        """Ids of the worker processes."""
        return [worker.process.pid for worker in self._workers]

    async def start(self) -> None:
        """Start the workers and wait until they have loaded their data. Errors: ``AdvisorError`` when one does not."""
        self._open = True
        self._started = asyncio.get_running_loop().create_future()
        try:
            await asyncio.gather(*(self._add() for _ in range(self.settings.workers)))
            await self._started
        except BaseException:
            await self.stop()
            raise

    async def _add(self) -> None:
        """Start one more process."""
        context = multiprocessing.get_context("spawn")
        ours, theirs = socket.socketpair()
        with theirs:
            process = context.Process(target=run_worker, args=(theirs, *self._sent), daemon=True, name="worker")
            await asyncio.to_thread(process.start)
        worker = _Worker(self)
        worker.process = process
        self._workers.add(worker)
        await asyncio.get_running_loop().create_unix_connection(lambda: worker, sock=ours)
        if not self._open:
            worker.leave()
            await asyncio.to_thread(_end, process)

    async def stop(self) -> None:
        """End the workers: those that are still busy after a moment are ended by force."""
        self._open = False
        self._closing.set()
        for asked in list(self._line):
            asked.settle(_stopping())
        busy = [worker.asked.answer for worker in self._workers if worker.asked is not None]
        if busy:
            await asyncio.wait(busy, timeout=GRACE)
        workers = list(self._workers)
        for worker in workers:
            if worker.asked is not None:
                worker.asked.settle(_stopping())
                worker.process.kill()
            worker.leave()
        await asyncio.gather(*(asyncio.to_thread(_end, worker.process) for worker in workers))
        await asyncio.gather(*self._tasks, return_exceptions=True)
        await super().stop()

    async def weigh(self, task: str, body: bytes, media_type: str) -> Answer:
        """The response to one request: a problem when there is no room or no time for it.

        Errors: ``AdvisorError`` ``fault`` when the service is stopping.
        """
        if not self._open:
            raise _stopping()
        loop = asyncio.get_running_loop()
        asked = _Asked(task, body, media_type, loop)
        if self._idle:
            self._give(self._idle.pop(), asked)
        elif len(self._line) >= self.settings.waiting:
            return self._busy(f"{len(self._line)} questions wait for a worker")
        else:
            self._line[asked] = None
            asked.timer = loop.call_later(self.settings.seconds, self._waited, asked)
            asked.answer.add_done_callback(lambda _: self._line.pop(asked, None))
        return await asked.answer

    def _give(self, worker: _Worker, asked: _Asked) -> None:
        if asked.timer is not None:
            asked.timer.cancel()
        asked.timer = asyncio.get_running_loop().call_later(self.settings.seconds, self._too_long, worker, asked)
        worker.give(asked)

    def free(self, worker: _Worker) -> None:
        """Take a worker that has nothing to do: the longest waiting question is next."""
        self._failed = 0
        while self._line:
            asked = next(iter(self._line))
            del self._line[asked]
            if not asked.answer.done():
                self._give(worker, asked)
                break
        else:
            self._idle.append(worker)
        ready = sum(one.ready for one in self._workers)
        if self._started is not None and not self._started.done() and ready == self.settings.workers:
            self._started.set_result(None)

    def _busy(self, said: str) -> Answer:
        self.refused += 1
        return refusal(AdvisorError("busy", said, help="try again in a moment"))

    def _waited(self, asked: _Asked) -> None:
        if not asked.answer.done():  # else who asked is gone
            asked.settle(self._busy(f"no worker was free within {self.settings.seconds} seconds"))

    def _too_long(self, worker: _Worker, asked: _Asked) -> None:
        """End the worker: nothing else ends what it does."""
        self.late += 1
        said = f"weighing took longer than {self.settings.seconds} seconds"
        study = STUDIES.get(asked.task)
        help = "ask for less: fewer options, replies or steps"
        if study is not None and study.long is not None:
            help = f"submit it to `/v1/jobs` as a job of the study `{asked.task}`, or {help}"
        asked.settle(refusal(AdvisorError("too-heavy", said, help=help)))
        worker.ending = True
        worker.process.kill()

    def lost(self, worker: _Worker) -> None:
        """Replace a worker; what it was asked, and died of, is answered by the plain evaluator."""
        self._workers.discard(worker)
        if worker in self._idle:
            self._idle.remove(worker)
        if not self._open:
            return
        worker.process.kill()
        self.losses += 1
        asked = worker.asked
        if worker.ending:
            _log.warning("a worker took too long and was ended (%d lost so far)", self.losses)
        elif asked is not None:
            self.plain_answers += 1
            _log.error("a worker was lost (%d so far); answering with the plain evaluator", self.losses)
            self._follow(self._again(asked))
        else:
            _log.error("a worker was lost (%d so far)", self.losses)
        if not worker.ready:
            self._failed += 1
            if self._started is not None and not self._started.done():
                self._started.set_exception(AdvisorError("fault", "a worker could not start"))
        self._follow(self._replace(worker))

    def _follow(self, work: Coroutine[Any, Any, None]) -> None:
        task = asyncio.ensure_future(work)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    async def _replace(self, worker: _Worker) -> None:
        await asyncio.to_thread(worker.process.join)
        added = False
        while self._open and not added:
            if self._failed:
                pause = min(PAUSE * 2.0 ** min(self._failed - 1, 10), LONGEST_PAUSE)
                with contextlib.suppress(TimeoutError):
                    await asyncio.wait_for(self._closing.wait(), pause)
            if self._open:
                added = await self._try_to_add()

    async def _try_to_add(self) -> bool:
        try:
            await self._add()
        except OSError as error:
            # No room for a process, or no descriptors left: that may pass.
            self._failed += 1
            _log.error("a worker cannot be started (%s) and is tried again", error)
            return False
        return True

    async def _again(self, asked: _Asked) -> None:
        try:
            with speaking(asked.about.language if asked.about else ENGLISH):
                asked.settle(await self.aside(partial(self._plainly, asked.task, asked.body, asked.media_type)))
        except BaseException as error:
            asked.settle(error)
            raise

    def _plainly(self, task: str, body: bytes, media_type: str) -> Answer:
        if self._plain is None:
            self._plain = self.library.with_engine("plain")
        return answer(self._plain, task, body, media_type, trials=self.trials, bounds=self.bounds)


def _stopping() -> AdvisorError:
    return AdvisorError("fault", "the service is stopping")


def _end(process: Any) -> None:
    """See to it that the process is gone."""
    process.join(GRACE)
    if process.is_alive():
        process.kill()
        process.join()
