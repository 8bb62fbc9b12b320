"""Several server processes on one address: started, watched over, reloaded and ended together.

The one who watches answers nothing itself. It holds the listening socket, starts a server in the place of one that
dies or falls silent, and takes a reload through all of them in two steps (see ``links``).
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import multiprocessing
import os
import shutil
import signal
import socket
import tempfile
import time
from collections.abc import Callable
from multiprocessing.connection import Connection
from multiprocessing.context import SpawnProcess
from typing import Any

from prometheus_client.multiprocess import mark_process_dead

from advisor.errors import AdvisorError, Fault
from advisor.service.running.copies import Copies
from advisor.service.running.links import Drop, Outcome, Prepare, Prepared, Refused, Take, Taken, Up, Wish
from advisor.service.running.served import Hashes, Reloaded, changes, refused
from advisor.service.settings import Settings

__all__ = ["METRICS", "Servers"]

METRICS = "PROMETHEUS_MULTIPROC_DIR"
"""The variable that tells the metrics of all servers one folder."""
SILENCE = 30.0
"""Seconds without a sign of life, after which a server counts as hung."""
PREPARING = 300.0
"""Seconds that a server has to read the data and start its workers."""
STARTING = 60.0
"""Seconds that a reload waits for a server that has just begun."""
YOUNG = 5.0
"""Seconds: one that ends sooner is not started again at once."""
SLOWEST = 30.0
"""Longest pause before a start, seconds."""
AFTER = 5.0
"""Seconds that servers have to end beyond the grace of requests."""
TICK = 0.25
_log = logging.getLogger("advisor.service")
Serve = Callable[[Settings, socket.socket, Connection], None]


class _One:
    """One server process and the line to it."""

    def __init__(self, process: SpawnProcess, pipe: Connection, settings: Settings) -> None:
        self.process, self.pipe, self.settings = process, pipe, settings
        self.up = self.over = False
        self.hashes: dict[str, Hashes] = {}
        self.began = self.heard = time.monotonic()
        self.answer: asyncio.Future[Any] | None = None


class Servers:
    """``settings.servers`` processes that run ``serve(settings, socket, pipe)``, a function of a module."""

    def __init__(
        self, settings: Settings, bound: socket.socket, copies: Copies, serve: Serve, say: Callable[[], None]
    ) -> None:
        self.bound, self.copies, self.serve, self.say = bound, copies, serve, say
        self.settings = copies.take()
        self.grace = settings.grace
        self.ones: list[_One] = []
        self.failed: AdvisorError | None = None
        self._told = False
        self._pause = 0.0
        self._stopping = asyncio.Event()
        self._one_by_one = asyncio.Lock()
        self._tasks: set[asyncio.Task[None]] = set()

    def run(self) -> None:
        """Until SIGTERM or SIGINT. Errors: ``DataError`` and ``Fault`` when the servers do not start at all."""
        folder = tempfile.mkdtemp(prefix="advisor-metrics-")
        os.environ[METRICS] = folder
        try:
            asyncio.run(self._watch())
        finally:
            del os.environ[METRICS]
            shutil.rmtree(folder, ignore_errors=True)
        if self.failed is not None:
            raise self.failed

    async def _watch(self) -> None:
        loop = asyncio.get_running_loop()
        for asked in (signal.SIGTERM, signal.SIGINT):
            loop.add_signal_handler(asked, self._stopping.set)
        loop.add_signal_handler(signal.SIGHUP, lambda: self._keep(self._reload_by_signal()))
        for _ in range(self.settings.servers):
            self._start()
        try:
            while not self._stopping.is_set():
                self._look_after()
                with contextlib.suppress(TimeoutError):
                    await asyncio.wait_for(self._stopping.wait(), TICK)
        finally:
            self.bound.close()
            await self._end_all()

    def _keep(self, work: Any) -> None:
        task = asyncio.ensure_future(work)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    def _start(self) -> None:
        context = multiprocessing.get_context("spawn")
        pipe, theirs = context.Pipe()
        process = context.Process(target=self.serve, args=(self.settings, self.bound, theirs), name="server")
        process.start()
        # Only the server may hold this end, or its death would go unnoticed.
        theirs.close()
        one = _One(process, pipe, self.settings)
        self.ones.append(one)
        asyncio.get_running_loop().add_reader(pipe.fileno(), self._hear, one)

    def _hear(self, one: _One) -> None:
        try:
            said = one.pipe.recv()
        except (EOFError, OSError):
            self._lost(one)
            return
        one.heard = time.monotonic()
        if isinstance(said, Up):
            one.up, one.hashes = True, said.hashes
            if not self._told and all(other.up for other in self.ones):
                self._told = True
                self.say()
        elif isinstance(said, Wish):
            self._keep(self._fulfil(one, said))
        elif isinstance(said, Refused) and not one.up:
            self._fail(self.copies.in_place(said.error(), one.settings))
        elif isinstance(said, Prepared | Refused | Taken) and one.answer is not None and not one.answer.done():
            one.answer.set_result(said)

    def _lost(self, one: _One) -> None:
        """The line is cut: the process is gone, or is not worth keeping."""
        if one.over:
            return
        one.over = True
        asyncio.get_running_loop().remove_reader(one.pipe.fileno())
        one.pipe.close()
        one.process.kill()
        if one.answer is not None and not one.answer.done():
            one.answer.set_exception(Fault("fault", "a server was lost while it read the data", help="reload again"))
        if one.process.pid is not None:
            mark_process_dead(one.process.pid, os.environ[METRICS])  # type: ignore[no-untyped-call]

    def _fail(self, error: AdvisorError) -> None:
        if self._told:
            _log.error("a server cannot start: %s", error.message)
        elif self.failed is None:
            self.failed = error
            self._stopping.set()

    def _look_after(self) -> None:
        """End those that hang; start one in the place of each that is gone."""
        now = time.monotonic()
        for one in list(self.ones):
            limit = SILENCE if one.up else PREPARING
            if not one.over and now - one.heard > limit:
                _log.error("server %s gave no sign of life for %d s and is ended", one.process.pid, limit)
                self._lost(one)
            if one.over and not one.process.is_alive():
                one.process.join()
                self.ones.remove(one)
                self._replace(one, now)

    def _replace(self, one: _One, now: float) -> None:
        if not self._told:
            self._fail(Fault("fault", f"a server ended with {one.process.exitcode} before it answered"))
            return
        _log.error("server %s ended with %s; another takes its place", one.process.pid, one.process.exitcode)
        self._pause = min(SLOWEST, max(1.0, self._pause * 2)) if not one.up or now - one.began < YOUNG else 0.0
        asyncio.get_running_loop().call_later(self._pause, self._start_again)

    def _start_again(self) -> None:
        if self._one_by_one.locked():
            # It would begin with data that may be old when it answers.
            asyncio.get_running_loop().call_later(TICK, self._start_again)
        elif not self._stopping.is_set():
            self._start()

    async def _end_all(self) -> None:
        for one in self.ones:
            one.process.terminate()
        until = time.monotonic() + self.grace + AFTER
        while any(one.process.is_alive() for one in self.ones) and time.monotonic() < until:
            await asyncio.sleep(0.02)
        for one in self.ones:
            self._lost(one)
            await asyncio.to_thread(one.process.join)
        for task in list(self._tasks):
            task.cancel()

    async def _reload_by_signal(self) -> None:
        try:
            done = await self._reload()
        except AdvisorError as error:
            _log.error("the reload was refused: %s", error.message)
        else:
            _log.info("the data were read again by %d servers in %.2f s", done.servers, done.seconds)

    async def _fulfil(self, one: _One, wish: Wish) -> None:
        try:
            outcome = Outcome(wish.number, await self._reload())
        except AdvisorError as error:
            _log.error("the reload was refused: %s", error.message)
            outcome = Outcome(wish.number, None, error.message)
        if not one.over:
            one.pipe.send(outcome)

    async def _reload(self) -> Reloaded:
        """Errors: ``AdvisorError`` ``reload-refused``."""
        async with self._one_by_one:
            began = time.monotonic()
            while any(not one.up and not one.over for one in self.ones) and time.monotonic() - began < STARTING:
                await asyncio.sleep(TICK / 5)
            up = [one for one in self.ones if one.up and not one.over]
            old = up[0].hashes if up else {}
            try:
                fresh, taken = await self._prepare(up)
            except AdvisorError as error:
                for i, one in enumerate(up):
                    self._tell(one, Drop(counted=i == 0))
                raise refused(error) from None
            self.settings = taken
            await asyncio.gather(*(self._take(one, fresh, counted=i == 0) for i, one in enumerate(up)))
            # Who took too long to begin would answer from the old data.
            for one in self.ones:
                if one.settings is not taken:
                    self._lost(one)
            await asyncio.to_thread(self.copies.settle)
            seconds = round(time.monotonic() - began, 3)
            return Reloaded(packs=changes(old, fresh), servers=max(1, len(up)), seconds=seconds)

    async def _prepare(self, up: list[_One]) -> tuple[dict[str, Hashes], Settings]:
        """Let one server read the data, then all others. Errors: ``DataError``, ``AdvisorError``."""
        if not up:
            raise Fault("fault", "no server is up", help="reload again when one is")
        taken = await asyncio.to_thread(self.copies.take)
        try:
            first = await self._ask(up[0], Prepare(taken))
            said = [first]
            if isinstance(first, Prepared):
                said += await asyncio.gather(*(self._ask(one, Prepare(taken)) for one in up[1:]))
            for answer in said:
                if isinstance(answer, Refused):
                    raise self.copies.in_place(answer.error(), taken)
            if any(answer != first for answer in said):
                raise Fault("fault", "the data changed while the servers read them", help="reload again")
        except BaseException:
            self.copies.refuse(taken)
            raise
        return first.hashes, taken

    async def _ask(self, one: _One, what: object) -> Any:
        """Say something to a server and wait for its answer. Errors: ``Fault``."""
        if one.over:
            raise Fault("fault", "a server was lost while it read the data", help="reload again")
        one.answer = asyncio.get_running_loop().create_future()
        one.pipe.send(what)
        try:
            return await asyncio.wait_for(one.answer, PREPARING)
        except TimeoutError:
            raise Fault("fault", f"a server took longer than {PREPARING:.0f} s to read the data") from None
        finally:
            one.answer = None

    async def _take(self, one: _One, fresh: dict[str, Hashes], *, counted: bool) -> None:
        """Let a server take what it prepared; one that is lost is started again with it."""
        try:
            await self._ask(one, Take(counted))
            one.settings, one.hashes = self.settings, fresh
        except AdvisorError:
            self._lost(one)

    def _tell(self, one: _One, what: object) -> None:
        if not one.over:
            one.pipe.send(what)
