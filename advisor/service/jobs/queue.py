"""Jobs: long studies in processes of their own, with progress and cancel, beside the pool of the short questions.

A thread watches over each process. What a process says comes through a pipe; one that dies costs its own job and
is replaced for the next, one that does not answer to a cancel in time is ended by force.
"""

from __future__ import annotations

import logging
import multiprocessing
import secrets
import threading
import time
from collections import deque
from multiprocessing.connection import Connection
from multiprocessing.context import SpawnProcess
from typing import Any

import msgspec

from advisor.errors import AdvisorError
from advisor.service.jobs.process import Answers, Ready, Stopped, Told, Work, problem_answer, run_jobs, run_study
from advisor.service.jobs.wire import Job, State
from advisor.service.problems import ParameterError
from advisor.service.seen.about import ABOUT
from advisor.service.settings import Settings
from advisor.service.wire import Problem
from advisor.service.work import JSON, Answer

__all__ = ["Jobs"]

TICK = 0.05
"""Seconds between two looks at what is to be done."""
PATIENCE = 5.0
"""Seconds that a process has to end a cancelled job, before it is ended by force."""
FINAL = ("done", "failed", "cancelled")
_log = logging.getLogger("advisor.service")


class _Kept:
    """One job: what was asked, how far it is, what came of it."""

    def __init__(self, study: str, request: Any, owner: str) -> None:
        self.owner = owner
        self.id = secrets.token_urlsafe(18)
        self.study, self.request = study, request
        self.about = ABOUT.get()
        self.state: State = "queued"
        self.done = 0
        self.total: int | None = None
        self.began = self.ended = 0.0
        self.forms: dict[str, Answer] = {}

    def shown(self) -> Job:
        failed = self.state == "failed"
        answered = failed or self.state == "done"
        until = self.ended or time.monotonic()
        return Job(
            id=self.id, study=self.study, state=self.state, done=self.done, total=self.total,
            seconds=round(until - self.began, 3) if self.began else 0.0,
            answer=f"/v1/jobs/{self.id}/answer" if answered else None,
            problem=msgspec.json.decode(self.forms[JSON].body, type=Problem) if failed else None,
        )  # fmt: skip


class Jobs:
    """All jobs of a service. Its methods may be called from any thread; none of them waits for a job.

    A job belongs to its ``owner``. Who ``sees`` only his own finds no others; None sees all.
    ``work`` is what a process does with a job; it has to be a function of a module.
    """

    def __init__(self, settings: Settings, *, work: Work = run_study) -> None:
        self.settings, self.work = settings, work
        self._jobs: dict[str, _Kept] = {}
        self._queue: deque[_Kept] = deque()
        self._slots: list[_Slot] = []
        self._changed = threading.Condition()
        self._open = True
        self.generation = 0
        """Rises when the data were read again: a process of an older one ends with its job."""

    def renew(self, settings: Settings) -> None:
        """Run what begins from now on with the data that ``settings`` name; what runs goes on with its own."""
        with self._changed:
            self.settings, self.generation = settings, self.generation + 1

    def start(self) -> None:
        """Take jobs; processes are started once there is work for them."""
        self._open = True

    def stop(self) -> None:
        """End every process, whatever it does; jobs that are not over are cancelled."""
        with self._changed:
            self._open = False
            slots, self._slots = self._slots, []
            self._queue.clear()
            for job in self._jobs.values():
                self._settle(job, "cancelled", {})
            self._changed.notify_all()
        for slot in slots:
            slot.join()

    def submit(self, study: str, request: Any, owner: str = "") -> Job:
        """Queue a job. Errors: ``AdvisorError`` ``jobs-full``, and ``fault`` when the service is stopping."""
        with self._changed:
            if not self._open:
                raise AdvisorError("fault", "the service is stopping")
            self._make_room()
            job = _Kept(study, request, owner)
            self._jobs[job.id] = job
            self._queue.append(job)
            if len(self._slots) < min(self.settings.job_workers, len(self._jobs)):
                slot = _Slot(self)
                self._slots.append(slot)
                slot.start()
            self._changed.notify()
            return job.shown()

    def _make_room(self) -> None:
        if len(self._jobs) < self.settings.jobs:
            return
        over = next((key for key, job in self._jobs.items() if job.state in FINAL), None)
        if over is None:
            said = f"all {len(self._jobs)} jobs are queued or running"
            raise AdvisorError("jobs-full", said, help="try again later, or cancel one of yours")
        del self._jobs[over]

    def listed(self, sees: str | None = None) -> list[Job]:
        """The jobs that are remembered, the oldest first."""
        with self._changed:
            return [job.shown() for job in self._jobs.values() if sees in (None, job.owner)]

    def job(self, key: str, sees: str | None = None) -> Job:
        """One job. Errors: ``ParameterError`` ``job-unknown``."""
        with self._changed:
            return self._found(key, sees).shown()

    def cancel(self, key: str, sees: str | None = None) -> Job:
        """Cancel a job; one that is over stays as it is. Errors: ``ParameterError`` ``job-unknown``."""
        with self._changed:
            job = self._found(key, sees)
            self._settle(job, "cancelled", {})
            if job in self._queue:
                self._queue.remove(job)
            return job.shown()

    def forms(self, key: str, sees: str | None = None) -> dict[str, Answer]:
        """The responses of a job that is done or failed, by media type.

        Errors: ``ParameterError`` ``job-unknown``, ``AdvisorError`` ``job-unfinished`` and ``job-cancelled``.
        """
        with self._changed:
            job = self._found(key, sees)
            if job.state == "cancelled":
                raise AdvisorError("job-cancelled", "a cancelled job has no answer", help="submit it again")
            if job.state not in FINAL:
                raise AdvisorError("job-unfinished", f"the job is {job.state}", help="wait until it is done")
            return job.forms

    def _found(self, key: str, sees: str | None) -> _Kept:
        if key not in self._jobs or sees not in (None, self._jobs[key].owner):
            help = "the oldest finished jobs are dropped; submit it again"
            raise ParameterError("job-unknown", "no job has that id", name="job", help=help)
        return self._jobs[key]

    def _settle(self, job: _Kept, state: State, forms: dict[str, Answer]) -> None:
        """Give a job its final state; what is final stays."""
        with self._changed:
            if job.state not in FINAL:
                job.state, job.forms, job.request = state, forms, None
                job.ended = time.monotonic() if job.began else 0.0

    def take(self) -> _Kept | None:
        """Wait for a job to run; None when the service stops."""
        with self._changed:
            while self._open and not self._queue:
                self._changed.wait()
            return self._queue.popleft() if self._open else None

    def begin(self, job: _Kept) -> Any:
        """What to send to the process for the job; None when it is not wanted any more."""
        with self._changed:
            if job.state != "queued":
                return None
            job.state, job.began = "running", time.monotonic()
            return job.study, job.request, job.about

    def fail(self, job: _Kept, code: str, message: str, help: str = "") -> None:
        """Let a job fail."""
        self._settle(job, "failed", {JSON: problem_answer(AdvisorError(code, message, help=help))})

    def hear(self, job: _Kept, said: Told | Answers) -> None:
        """Take what the process says of a job."""
        if isinstance(said, Answers):
            self._settle(job, "done" if said.forms[JSON].status == 200 else "failed", said.forms)
        else:
            with self._changed:
                if job.state == "running":
                    job.done, job.total = said.done, max(said.done, said.total)

    @property
    def open(self) -> bool:
        """Whether the service runs."""
        return self._open


class _Slot(threading.Thread):
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
            except (EOFError, OSError):
                self.end()
                if self.jobs.open:
                    _log.error("a job process was lost; the next job gets another")
                    self.jobs.fail(job, "fault", "the process of the job was lost", "submit it again")
        self.end()

    def _run(self, job: _Kept) -> None:
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
