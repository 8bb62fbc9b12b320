"""Waiting for a job: looking at it now and then until it is over."""

from __future__ import annotations

import time
from collections.abc import Callable

from msgspec import Struct

from advisor.clients.api.calls import Pause, Retries, Steps
from advisor.clients.api.errors import JobOverdue
from advisor.clients.api.operations import get_job
from advisor.service.jobs.wire import Job

__all__ = ["Waiting", "wait_for_job"]

FIRST = 0.1
LONGEST = 2.0
"""Seconds between two looks at a job, at first and at last: a short job is told soon, a long one costs little."""


class Waiting(Struct, frozen=True, kw_only=True):
    """Look at a job until it is over."""

    job: Job | str
    progress: Callable[[Job], None] | None
    seconds: float | None

    def steps(self, retries: Retries) -> Steps[Job]:
        """A look, a pause, the next look. Errors: ``ApiError``, ``JobOverdue`` among them."""
        began, pause = time.monotonic(), FIRST
        while True:
            job = yield from get_job(self.job).steps(retries)
            if self.progress is not None:
                self.progress(job)
            if job.state not in ("queued", "running"):
                return job
            if self.seconds is not None and time.monotonic() - began + pause > self.seconds:
                raise JobOverdue(f"job `{job.id}` is {job.state} after {self.seconds:g} seconds; it goes on")
            yield Pause(pause)
            pause = min(pause * 1.5, LONGEST)


def wait_for_job(
    job: Job | str, progress: Callable[[Job], None] | None = None, seconds: float | None = None
) -> Waiting:
    """The job once it is done, failed or cancelled; ``progress`` is told at every look, ``seconds`` bound the wait."""
    return Waiting(job=job, progress=progress, seconds=seconds)
