"""Tells all server processes of the jobs of this one, through Redis, and does what they wish: a task of its own.

Each change is written soon, progress a few times a second. While Redis is away the jobs go on; when it answers again,
empty or with an older snapshot, what is known here is written anew.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import secrets
import time
from collections import deque
from collections.abc import Iterable

from advisor.errors import AdvisorError
from advisor.service.jobs.kept import FINAL
from advisor.service.jobs.queue import Jobs
from advisor.service.jobs.records import ALIVE, KEPT, Record, Records

__all__ = ["Shared"]

PAUSE = 0.25
"""Seconds between two looks at what has changed and what others wish, while there are unfinished jobs."""
BEAT = 1.0
"""Most seconds between two signs of life."""
LOOK_OVER = 60.0
"""Seconds after which what is finished is looked through for what is too old, and what is not is written anew."""
_log = logging.getLogger("advisor.service")


class Shared:
    """Keeps Redis told of ``jobs``. Its methods belong to the event loop."""

    def __init__(self, address: str, jobs: Jobs) -> None:
        self.jobs = jobs
        self.records = Records(address, secrets.token_hex(8))
        self.records.reached = self._reached
        self._changed: deque[str] = deque()
        self._due: set[str] = set()
        self._writing = ""
        self._one_by_one = asyncio.Lock()
        self._soon = asyncio.Event()
        self._task: asyncio.Task[None] | None = None
        self._since: float | None = None
        """Since when Redis has answered without a gap; None: it does not."""
        self._failures = 0
        self._missing = self._told_away = False
        self._open = True
        self._beaten = self._looked = float("-inf")

    async def start(self) -> None:
        """Begin to tell. Redis need not be there."""
        loop = asyncio.get_running_loop()

        def told(key: str, soon: bool) -> None:
            self._changed.append(key)
            if soon:
                with contextlib.suppress(RuntimeError):  # the loop may be over by now
                    loop.call_soon_threadsafe(self._soon.set)

        self.jobs.told = told
        self._task = asyncio.create_task(self._go_on(), name="jobs")

    async def stop(self) -> None:
        """Tell what is left to tell, when Redis is there."""
        self._open = False
        if self._task is not None:
            # A wait that is over at this moment swallows the word to end; hence the flag.
            self._task.cancel()
            await asyncio.wait([self._task])
        with contextlib.suppress(AdvisorError):
            await self._write_all()
        await self.records.close()

    @property
    def answers(self) -> bool:
        """Whether Redis answered when it was last asked."""
        return self._since is not None

    @property
    def judges(self) -> bool:
        """Whether a process without a sign of life may be held for lost: not soon after all were away from Redis."""
        return self._since is not None and time.monotonic() - self._since > ALIVE

    def _reached(self, whether: bool) -> None:
        if not whether:
            self._since = None
            self._failures += 1
        elif self._since is None:
            self._since = time.monotonic()

    def untold(self, key: str) -> bool:
        """Whether Redis does not hold the newest of an own job."""
        self._gather()
        return key in self._due or key == self._writing

    def _gather(self) -> None:
        while self._changed:
            self._due.add(self._changed.popleft())

    async def tell(self, key: str) -> None:
        """Write of an own job now, unless Redis holds it. Errors: ``AdvisorError`` ``jobs-unavailable``."""
        failures = self._failures
        async with self._one_by_one:
            self._gather()
            if key not in self._due:
                return
            if self._failures != failures:
                # Who waited in line while another found Redis away need not wait for the same.
                raise self.records.away()
            # What changes while it is written is due again.
            self._due.discard(key)
            self._writing = key
            try:
                await self._write(key)
            except BaseException:
                self._due.add(key)
                raise
            finally:
                self._writing = ""

    async def _write(self, key: str) -> None:
        seen = self.jobs.peek(key)
        if seen is None:
            await self.records.drop(key)
        elif (ended := await self.records.write(key, seen)) is not None:
            self.jobs.overrule(key, *ended)

    async def _go_on(self) -> None:
        while self._open:
            try:
                await self._round()
            except AdvisorError as error:
                self._say(error)
            except Exception as error:
                _log.error("jobs could not be told to other servers", exc_info=error)
            else:
                self._say(None)
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(self._soon.wait(), PAUSE)
            self._soon.clear()

    def _say(self, error: AdvisorError | None) -> None:
        if error is not None and not self._told_away:
            _log.error("%s: jobs of other servers cannot be looked at (%s)", error.message, error.__cause__)
        elif error is None and self._told_away:
            _log.info("redis answers again, all servers are told of the jobs")
        self._told_away = error is not None

    async def _round(self) -> None:
        now = time.monotonic()
        self._gather()
        states = self.jobs.states()
        unfinished = [key for key, state in states.items() if state not in FINAL]
        if unfinished or now - self._beaten >= BEAT:
            whole, wishes = await self.records.beat()
            for key in wishes:
                if self.jobs.holds(key):
                    self.jobs.cancel(key)
                self._due.add(key)
            if not whole:
                # Others may not have been heard either.
                self._since, self._missing = time.monotonic(), True
            if self._missing:
                await self._anew(states)
                self._missing = False
        if now - self._beaten >= BEAT:
            self._beaten = now
            self._due.update(key for key in unfinished if states[key] == "running")
        if now - self._looked >= LOOK_OVER:
            self._looked = now
            self.jobs.forget(KEPT)
            await self.records.listed(None, judge=False)  # drops the ids of those that have expired
            self._due.update(unfinished)
        await self._write_all()

    async def _anew(self, states: Iterable[str]) -> None:
        """Redis does not hold what it did: write all, drop what only an older snapshot has."""
        mine = [r.job.id for r in await self.records.listed(None, judge=False) if r.process == self.records.process]
        self._due.update(states, mine)

    async def _write_all(self) -> None:
        """Errors: ``AdvisorError`` ``jobs-unavailable``, when Redis is away or took one of them not."""
        self._gather()
        refused = None
        for key in list(self._due):
            try:
                await self.tell(key)
            except AdvisorError as error:
                if not self.answers:
                    raise
                refused = error
        if refused is not None:
            raise refused

    async def look(self, key: str, sees: str | None) -> Record | None:
        """A job of another process that the caller may see. Errors: ``AdvisorError`` ``jobs-unavailable``."""
        found = await self.records.look(key, sees, judge=self.judges)
        return None if found is None or found.process == self.records.process else found
