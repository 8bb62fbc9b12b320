"""Who watches over one job process: runs one job after the other, tells what is said, ends what does not listen."""

from __future__ import annotations

import logging
import multiprocessing
import threading
import time
from multiprocessing.connection import Connection
from multiprocessing.context import SpawnProcess
from typing import TYPE_CHECKING

from advisor.service.jobs.kept import LOST, Kept
from advisor.service.jobs.process import Ready, Stopped, Told, run_jobs

if TYPE_CHECKING:
    from advisor.service.jobs.queue import Jobs

__all__ = ["Slot"]

TICK = 0.05
"""Seconds between two looks at what is to be done."""
PATIENCE = 5.0
"""Seconds that a process has to end a cancelled job, before it is ended by force."""
_log = logging.getLogger("advisor.service")


class Slot(threading.Thread):
    """One process and who watches over it: runs one job after the other."""

    def __init__(self, jobs: Jobs) -> None:
        super().__init__(name="jobs", daemon=True)
        self.jobs = jobs
        self.process: SpawnProcess | None = None
        self.pipe: Connection | None = None
        self.generation = 0

    def run(self) -> None:
        """Until the service stops."""
        while (job := self.jobs.take()) is not None:
            try:
                self._run(job)
            except Exception as error:
                self.end()
                if self.jobs.open:
                    strange = None if isinstance(error, (EOFError, OSError)) else error
                    _log.error("a job process was lost; the next job gets another", exc_info=strange)
                    self.jobs.fail(job, *LOST)
        self.end()

    def _run(self, job: Kept) -> None:
        """Errors: ``EOFError`` and ``OSError`` when the process is lost."""
        pipe = self._ready()
        if pipe is None or (sent := self.jobs.begin(job)) is None:
            return
        pipe.send(sent)
        told_at = 0.0
        limit = self.jobs.settings.job_seconds
        while self.jobs.open:
            if pipe.poll(TICK):
                said = pipe.recv()
                if not isinstance(said, Stopped):
                    self.jobs.hear(job, said)
                if not isinstance(said, Told):
                    return
            now = time.monotonic()
            if job.state == "running" and now - job.began > limit:
                self.jobs.fail(job, "job-timeout", f"the job ran longer than {limit} seconds", "ask for less")
            if job.state != "running" and not told_at:
                pipe.send(None)
                told_at = now
            if told_at and now - told_at > PATIENCE:
                self.end()
                return

    def _ready(self) -> Connection | None:
        """The pipe of a process that has loaded its data; None when the service stops meanwhile."""
        # Between jobs a process says nothing: there is something to read only when it is gone.
        if self.pipe is not None and self.generation == self.jobs.generation and not self.pipe.poll():
            return self.pipe
        self.end()
        self.generation = self.jobs.generation
        context = multiprocessing.get_context("spawn")
        self.pipe, theirs = context.Pipe()
        self.process = context.Process(
            target=run_jobs, args=(theirs, self.jobs.settings, self.jobs.work), daemon=True, name="job"
        )
        self.process.start()
        # Only the process may hold this end, or its death would go unnoticed.
        theirs.close()
        while self.jobs.open:
            if self.pipe.poll(TICK):
                said = self.pipe.recv()
                assert isinstance(said, Ready)
                return self.pipe
        return None

    def end(self) -> None:
        """End the process by force."""
        process, self.process = self.process, None
        pipe, self.pipe = self.pipe, None
        if process is not None:
            process.kill()
            process.join()
        if pipe is not None:
            pipe.close()
