"""One job as the process that took it keeps it, and what is said of a job that has no answer."""

from __future__ import annotations

import secrets
import time
from typing import Any, NamedTuple

import msgspec

from advisor.errors import AdvisorError
from advisor.service.jobs.wire import Job, State
from advisor.service.problems import ParameterError
from advisor.service.seen.about import ABOUT
from advisor.service.weighing.work import JSON, Answer
from advisor.service.wire import Problem

__all__ = ["FINAL", "LOST", "Kept", "Peek", "answered", "job_of", "unknown"]

FINAL = ("done", "failed", "cancelled")
LOST = ("fault", "the process of the job was lost", "submit it again")
"""Code, message and help of a job whose process died."""


def unknown() -> ParameterError:
    """The error for an id that no job has, or none that the caller may see."""
    help = "the oldest finished jobs are dropped; submit it again"
    return ParameterError("job-unknown", "no job has that id", name="job", help=help)


def answered(state: str) -> None:
    """Check that there is an answer. Errors: ``AdvisorError`` ``job-unfinished`` and ``job-cancelled``."""
    if state == "cancelled":
        raise AdvisorError("job-cancelled", "a cancelled job has no answer", help="submit it again")
    if state not in FINAL:
        raise AdvisorError("job-unfinished", f"the job is {state}", help="wait until it is done")


def job_of(key: str, study: str, state: State, done: int, total: int | None, seconds: float, problem: bytes) -> Job:
    """What is shown of a job; ``problem`` is the one of a failed job, as JSON, else empty."""
    return Job(
        id=key, study=study, state=state, done=done, total=total, seconds=seconds,
        answer=f"/v1/jobs/{key}/answer" if state in ("done", "failed") else None,
        problem=msgspec.json.decode(problem, type=Problem) if problem else None,
    )  # fmt: skip


class Peek(NamedTuple):
    """A job at one moment; ``made`` in seconds since 1970, ``over`` in seconds since it ended (0: it has not)."""

    job: Job
    owner: str
    made: float
    over: float
    problem: bytes
    forms: dict[str, Answer]


class Kept:
    """One job: what was asked, how far it is, what came of it."""

    def __init__(self, study: str, request: Any, owner: str) -> None:
        self.owner = owner
        self.id = secrets.token_urlsafe(18)
        self.study, self.request = study, request
        self.about = ABOUT.get()
        self.state: State = "queued"
        self.done = 0
        self.total: int | None = None
        self.made = time.time()
        self.began = self.ended = self.settled = 0.0
        self.forms: dict[str, Answer] = {}

    @property
    def problem(self) -> bytes:
        """Why it failed, as JSON; empty when it did not."""
        return self.forms[JSON].body if self.state == "failed" else b""

    def shown(self) -> Job:
        """What is said of it."""
        until = self.ended or time.monotonic()
        seconds = round(until - self.began, 3) if self.began else 0.0
        return job_of(self.id, self.study, self.state, self.done, self.total, seconds, self.problem)

    def peek(self) -> Peek:
        """All that others may come to ask of it."""
        over = time.monotonic() - self.settled if self.settled else 0.0
        return Peek(self.shown(), self.owner, self.made, over, self.problem, self.forms)
