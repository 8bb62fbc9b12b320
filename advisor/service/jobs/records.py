"""The jobs of all server processes as Redis holds them: one script a step, so that what is final stays so.

Only the process that took a job writes of it. The one exception is a job whose process gives no sign of life: who looks
at it lets it fail, for all and for good. What a process writes is numbered, since Redis may run late what timed out.
"""

from __future__ import annotations

import re
from collections.abc import Awaitable, Callable
from itertools import count
from typing import Any, NamedTuple, cast

import msgspec
from redis.asyncio import Redis
from redis.exceptions import RedisError, ResponseError

from advisor.errors import AdvisorError
from advisor.service.jobs.kept import LOST, Peek, job_of
from advisor.service.jobs.process import problem_answer
from advisor.service.jobs.wire import Job, State
from advisor.service.stored import away, connect, script
from advisor.service.weighing.work import JSON, Answer

__all__ = ["ALIVE", "KEPT", "Ended", "Record", "Records"]

PREFIX = "advisor:jobs"
KEPT = 86_400.0
"""Seconds that a finished job and its answer are kept."""
ALIVE = 10.0
"""Seconds that a sign of life holds."""
_ID = re.compile(r"[A-Za-z0-9_-]{1,64}")
_FORMS = msgspec.msgpack.Decoder(dict[str, Answer])


class Record(NamedTuple):
    """A job as Redis holds it: what is shown, the process that took it, when (seconds since 1970)."""

    job: Job
    process: str
    made: float


class Ended(NamedTuple):
    """How a job ended that its own process thinks of otherwise."""

    state: State
    forms: dict[str, Answer]


class Records:
    """The jobs in the Redis at ``address``, for the process that is named.

    Errors of every call: ``AdvisorError`` ``jobs-unavailable``, after ``stored.PATIENCE`` at the latest.
    """

    def __init__(self, address: str, process: str) -> None:
        self.process = process
        self.reached: Callable[[bool], None] | None = None
        """Called after each call with whether Redis answered it."""
        self._address = address
        self._redis: Redis = connect(address)
        names = ("beat", "write", "drop", "look", "wish")
        self._beat, self._write, self._drop, self._look, self._wish = (
            self._redis.register_script(script(__package__, f"shared_{name}")) for name in names
        )
        self._numbers = count(1)
        self._beats = count(1)
        self._beaten = 0
        self._alive, self._wishes = f"{PREFIX}:alive:{process}", f"{PREFIX}:wishes:{process}"
        lost = problem_answer(AdvisorError(LOST[0], LOST[1], help=LOST[2]))
        self._lost = [lost.body, msgspec.msgpack.encode({JSON: lost}), _ms(KEPT)]

    async def close(self) -> None:
        """Let go of the connections."""
        await self._redis.aclose()

    async def beat(self) -> tuple[bool, list[str]]:
        """Give a sign of life: whether Redis still holds what was written before, and which jobs to cancel."""
        number = next(self._beats)
        before, wishes = await self._run(self._beat, [self._alive, self._wishes], [number, _ms(ALIVE)])
        # Anything but the number of the last beat: it expired, or Redis came back empty or with an older snapshot.
        whole = before == str(self._beaten).encode()
        self._beaten = number
        return whole, [key.decode() for key in wishes]

    async def write(self, key: str, seen: Peek) -> Ended | None:
        """Write of an own job. How it ended, where that was settled otherwise before: it stays so."""
        job = seen.job
        fields = {
            "process": self.process, "made": repr(seen.made), "owner": seen.owner, "study": job.study,
            "state": job.state, "done": job.done, "total": "" if job.total is None else job.total,
            "seconds": job.seconds, "problem": seen.problem,
        }  # fmt: skip
        forms = msgspec.msgpack.encode(seen.forms) if seen.forms else b""
        given = [key, _ms(KEPT - seen.over), forms, next(self._numbers), *(x for pair in fields.items() for x in pair)]
        found = await self._run(self._write, self._keys(key), given)
        if not found:
            return None
        state, kept = found
        return Ended(cast(State, state.decode()), _FORMS.decode(kept) if kept else {})

    async def drop(self, key: str) -> None:
        """An own job is not known any more."""
        await self._run(self._drop, self._keys(key), [key, next(self._numbers)])

    async def look(self, key: str, sees: str | None, *, judge: bool) -> Record | None:
        """One job that the caller may see. ``judge``: whether a process that gives no sign of life is lost."""
        if not _ID.fullmatch(key):
            return None
        found = await self._found(key, sees, judge)
        return found[0] if found else None

    async def listed(self, sees: str | None, *, judge: bool) -> list[Record]:
        """All jobs that the caller may see, the oldest first; see ``look``."""
        return await self._found("", sees, judge)

    async def _found(self, key: str, sees: str | None, judge: bool) -> list[Record]:
        whose = "" if sees is None else f"={sees}"
        given = [PREFIX, whose, key, int(judge), *self._lost]
        return [_record(*job) for job in await self._run(self._look, [f"{PREFIX}:all", self._alive], given)]

    async def forms(self, key: str) -> dict[str, Answer] | None:
        """The responses of a finished job; None when they are not there any more."""
        kept = await self._heard(self._redis.get(self._keys(key)[1]))
        return _FORMS.decode(kept) if kept else None

    async def wish(self, key: str) -> None:
        """Ask the process of a job to cancel it."""
        await self._run(self._wish, self._keys(key)[:1], [PREFIX, key])

    def _keys(self, key: str) -> list[str]:
        return [f"{PREFIX}:job:{key}", f"{PREFIX}:answer:{key}", f"{PREFIX}:all", self._wishes]

    async def _run(self, script: Callable[..., Awaitable[Any]], keys: list[str], given: list[Any]) -> Any:
        return await self._heard(script(keys=keys, args=given))

    async def _heard(self, call: Awaitable[Any]) -> Any:
        try:
            found = await call
        except (RedisError, OSError) as error:
            self._tell(isinstance(error, ResponseError))
            raise self.away() from error
        self._tell(True)
        return found

    def _tell(self, reached: bool) -> None:
        if self.reached is not None:
            self.reached(reached)

    def away(self) -> AdvisorError:
        """The error that says so."""
        return away("jobs-unavailable", "jobs", self._address)


def _ms(seconds: float) -> int:
    return max(1, round(seconds * 1000))


def _record(
    process: bytes, made: bytes, study: bytes, state: bytes, done: bytes, total: bytes, seconds: bytes, problem: bytes,
    key: bytes,
) -> Record:  # fmt: skip
    job = job_of(
        key.decode(), study.decode(), cast(State, state.decode()), int(done), int(total) if total else None,
        float(seconds), problem,
    )  # fmt: skip
    return Record(job, process.decode(), float(made))
