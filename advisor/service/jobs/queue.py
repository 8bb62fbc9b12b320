"""Jobs: long studies in processes of their own, with progress and cancel, beside the pool of the short questions.

A thread watches over each process (``slot``). What a process says comes through a pipe; one that dies costs its own job
and is replaced for the next, one that does not answer to a cancel in time is ended by force.
"""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable
from typing import Any

from advisor.errors import AdvisorError
from advisor.service.jobs.kept import FINAL, Kept, Peek, answered, unknown
from advisor.service.jobs.process import Answers, Told, Work, problem_answer, run_study
from advisor.service.jobs.slot import Slot
from advisor.service.jobs.wire import Job, State
from advisor.service.settings import Settings
from advisor.service.weighing.work import JSON, Answer

__all__ = ["Jobs"]


class Jobs:
    """All jobs of a service. Its methods may be called from any thread; none of them waits for a job.

    A job belongs to its ``owner``. Who ``sees`` only his own finds no others; None sees all.
    ``work`` is what a process does with a job; it has to be a function of a module.
    """

    def __init__(self, settings: Settings, *, work: Work = run_study) -> None:
        self.settings, self.work = settings, work
        self._jobs: dict[str, Kept] = {}
        self._queue: deque[Kept] = deque()
        self._slots: list[Slot] = []
        self._changed = threading.Condition()
        self._open = True
        self.generation = 0
        """Rises when the data were read again: a process of an older one ends with its job."""
        self.told: Callable[[str, bool], None] | None = None
        """Called from any thread with the id of each job that changed or was dropped, and whether it began or ended."""

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
            job = Kept(study, request, owner)
            self._jobs[job.id] = job
            self._queue.append(job)
            self._tell(job.id)
            if len(self._slots) < min(self.settings.job_workers, len(self._jobs)):
                slot = Slot(self)
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
        self._drop(over)

    def _drop(self, key: str) -> None:
        del self._jobs[key]
        self._tell(key)

    def _tell(self, key: str, *, soon: bool = False) -> None:
        if self.told is not None:
            self.told(key, soon)

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
            self._end(job)
            return job.shown()

    def _end(self, job: Kept, state: State = "cancelled", forms: dict[str, Answer] | None = None) -> None:
        self._settle(job, state, forms or {})
        if job in self._queue:
            self._queue.remove(job)

    def forms(self, key: str, sees: str | None = None) -> dict[str, Answer]:
        """The responses of a job that is done or failed, by media type.

        Errors: ``ParameterError`` ``job-unknown``, ``AdvisorError`` ``job-unfinished`` and ``job-cancelled``.
        """
        with self._changed:
            job = self._found(key, sees)
            answered(job.state)
            return job.forms

    def _found(self, key: str, sees: str | None) -> Kept:
        if key not in self._jobs or sees not in (None, self._jobs[key].owner):
            raise unknown()
        return self._jobs[key]

    def _settle(self, job: Kept, state: State, forms: dict[str, Answer]) -> None:
        """Give a job its final state; what is final stays."""
        with self._changed:
            if job.state not in FINAL:
                job.state, job.forms, job.request = state, forms, None
                job.settled = time.monotonic()
                job.ended = job.settled if job.began else 0.0
                self._tell(job.id, soon=True)

    def holds(self, key: str) -> bool:
        """Whether the job is one of these."""
        return key in self._jobs

    def peek(self, key: str) -> Peek | None:
        """One job at this moment, whosever it is; None when it is not known."""
        with self._changed:
            job = self._jobs.get(key)
            return None if job is None else job.peek()

    def states(self) -> dict[str, State]:
        """The states of all jobs by id."""
        with self._changed:
            return {key: job.state for key, job in self._jobs.items()}

    def withdraw(self, key: str) -> None:
        """Undo that a job was submitted: it is cancelled and forgotten."""
        with self._changed:
            if key in self._jobs:
                self._end(self._jobs[key])
                self._drop(key)

    def overrule(self, key: str, state: State, forms: dict[str, Answer]) -> None:
        """End a job as others were told that it ended, whatever is thought of it here."""
        with self._changed:
            if key in self._jobs:
                job = self._jobs[key]
                self._end(job, state, forms)
                job.state, job.forms = state, forms

    def forget(self, seconds: float) -> None:
        """Drop what has been over for so long."""
        with self._changed:
            before = time.monotonic() - seconds
            for key in [key for key, job in self._jobs.items() if job.state in FINAL and job.settled < before]:
                self._drop(key)

    def take(self) -> Kept | None:
        """Wait for a job to run; None when the service stops."""
        with self._changed:
            while self._open and not self._queue:
                self._changed.wait()
            return self._queue.popleft() if self._open else None

    def begin(self, job: Kept) -> Any:
        """What to send to the process for the job; None when it is not wanted any more."""
        with self._changed:
            if job.state != "queued":
                return None
            job.state, job.began = "running", time.monotonic()
            self._tell(job.id, soon=True)
            return job.study, job.request, job.about

    def fail(self, job: Kept, code: str, message: str, help: str = "") -> None:
        """Let a job fail."""
        self._settle(job, "failed", {JSON: problem_answer(AdvisorError(code, message, help=help))})

    def hear(self, job: Kept, said: Told | Answers) -> None:
        """Take what the process says of a job."""
        if isinstance(said, Answers):
            self._settle(job, "done" if said.forms[JSON].status == 200 else "failed", said.forms)
        else:
            with self._changed:
                if job.state == "running":
                    job.done, job.total = said.done, max(said.done, said.total)
                    self._tell(job.id)

    @property
    def open(self) -> bool:
        """Whether the service runs."""
        return self._open
