"""All jobs that a caller may ask of: those of this process, and with Redis those of every other on the same one.

What one process has said, every other says too: a job is answered as final, and a submit or cancel is confirmed, once
Redis holds it (unless it is away, when own jobs are answered from memory).
"""

from __future__ import annotations

import asyncio
import contextlib
import time
from typing import TYPE_CHECKING, Any

from advisor.errors import AdvisorError
from advisor.service.jobs.kept import FINAL, answered, unknown
from advisor.service.jobs.queue import Jobs
from advisor.service.jobs.wire import Job
from advisor.service.settings import Settings
from advisor.service.weighing.work import Answer

if TYPE_CHECKING:
    from advisor.service.jobs.shared import Shared

__all__ = ["Board"]

CONFIRMED = 2.0
"""Most seconds to wait until the process of a job has cancelled it."""
TICK = 0.05


class Board:
    """The jobs behind the routes. ``sees`` as in ``Jobs``.

    Errors of every call with Redis, where that is needed and away: ``AdvisorError`` ``jobs-unavailable``.
    """

    def __init__(self, settings: Settings, jobs: Jobs) -> None:
        self.jobs = jobs
        self._shared: Shared | None = None
        if settings.redis is not None:
            from advisor.service.jobs.shared import Shared  # what is not asked for is not loaded

            self._shared = Shared(settings.redis, jobs)

    async def start(self) -> None:
        """Take jobs."""
        self.jobs.start()
        if self._shared is not None:
            await self._shared.start()

    async def stop(self) -> None:
        """End every own job."""
        await asyncio.to_thread(self.jobs.stop)
        if self._shared is not None:
            await self._shared.stop()

    async def submit(self, study: str, request: Any, owner: str = "") -> Job:
        """Queue a job, so that every process knows it. Errors: see ``Jobs.submit``."""
        job = self.jobs.submit(study, request, owner)
        if self._shared is not None:
            try:
                await self._shared.tell(job.id)
            except AdvisorError:
                self.jobs.withdraw(job.id)
                raise
        return job

    async def listed(self, sees: str | None = None) -> list[Job]:
        """All jobs that are remembered, the oldest first."""
        shared = self._shared
        if shared is None:
            return self.jobs.listed(sees)
        for job in self.jobs.listed(sees):
            await self._told(job)
        found = {r.job.id: r.job for r in await shared.records.listed(sees, judge=shared.judges)
                 if r.process != shared.records.process or self.jobs.holds(r.job.id)}  # fmt: skip
        # Those that are not there yet are the newest; of its own each process knows best.
        found.update((job.id, job) for job in self.jobs.listed(sees))
        return list(found.values())

    async def job(self, key: str, sees: str | None = None) -> Job:
        """One job. Errors: ``ParameterError`` ``job-unknown``."""
        if self._shared is None or self.jobs.holds(key):
            await self._told(self.jobs.job(key, sees))
            return self.jobs.job(key, sees)
        return await self._other(self._shared, key, sees)

    async def forms(self, key: str, sees: str | None = None) -> dict[str, Answer]:
        """The responses of a job that is done or failed. Errors: see ``Jobs.forms``."""
        if self._shared is None or self.jobs.holds(key):
            await self._told(self.jobs.job(key, sees))
            return self.jobs.forms(key, sees)
        answered((await self._other(self._shared, key, sees)).state)
        forms = await self._shared.records.forms(key)
        if forms is None:
            raise unknown()
        return forms

    async def cancel(self, key: str, sees: str | None = None) -> Job:
        """Cancel a job; one that is over stays as it is. Errors: ``ParameterError`` ``job-unknown``.

        A job of another process that has not confirmed it in time is shown as it is; it will be cancelled.
        """
        shared = self._shared
        if shared is None or self.jobs.holds(key):
            await self._told(self.jobs.cancel(key, sees))
            return self.jobs.job(key, sees)
        found = await self._other(shared, key, sees)
        if found.state not in FINAL:
            await shared.records.wish(key)
        until = time.monotonic() + CONFIRMED
        while found.state not in FINAL and time.monotonic() < until:
            await asyncio.sleep(TICK)
            found = await self._other(shared, key, sees)
        return found

    async def _told(self, job: Job) -> None:
        """Before an own job is answered as final, let all others know, if they can."""
        shared = self._shared
        if shared is not None and job.state in FINAL and shared.answers and shared.untold(job.id):
            with contextlib.suppress(AdvisorError):
                await shared.tell(job.id)

    @staticmethod
    async def _other(shared: Shared, key: str, sees: str | None) -> Job:
        found = await shared.look(key, sees)
        if found is None:
            raise unknown()
        return found.job
