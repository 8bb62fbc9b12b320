"""What may come of a call in place of an answer."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime

import msgspec

from advisor.service.wire import Problem

__all__ = [
    "ApiError", "BadQuestion", "JobOverdue", "NotFound", "ProblemError", "ServerFault", "TooMany", "Unavailable",
    "Unreachable", "UnreadableAnswer", "problem_error", "seconds_to_wait",
]


class ApiError(Exception):
    """Any error of the client."""


class Unreachable(ApiError):
    """No answer came: nobody listens there, the connection broke, or it took longer than the timeout."""


class UnreadableAnswer(ApiError):
    """An answer came, and is not what this version of the client expects: most likely another service is there."""


class JobOverdue(ApiError):
    """A job was not over within the seconds that it was given; it goes on."""


class ProblemError(ApiError):
    """The service refused: its problem details (RFC 9457) and what goes with them.

    ``status`` is the HTTP status, ``code`` the stable name of the kind of problem, ``detail`` what is wrong,
    ``pointer`` the JSON pointer of the faulty value in the body (``parameter``: the query or path parameter), ``help``
    what would be right, ``retry_after`` the seconds after which to try again, None when nothing was said.
    ``problem`` is all of it.
    """

    def __init__(self, problem: Problem, retry_after: float | None = None) -> None:
        place = f" (at {problem.pointer or problem.parameter})" if problem.pointer or problem.parameter else ""
        help = f"; {problem.help}" if problem.help else ""
        super().__init__(f"{problem.status} {problem.code}: {problem.detail}{place}{help}")
        self.problem = problem
        self.status, self.code, self.detail = problem.status, problem.code, problem.detail
        self.pointer, self.parameter, self.help = problem.pointer, problem.parameter, problem.help
        self.retry_after = retry_after


class BadQuestion(ProblemError):
    """4xx: what was sent has to be changed."""


class NotFound(BadQuestion):
    """404: the pack, character, move, option or job is not known."""


class TooMany(ProblemError):
    """429: too many calls; ``retry_after`` says when there is room again."""


class ServerFault(ProblemError):
    """5xx: the fault is not the caller's."""


class Unavailable(ServerFault):
    """503: there is no room, or the service is not up, for the moment."""


def _family(status: int) -> type[ProblemError]:
    exact = {404: NotFound, 429: TooMany, 503: Unavailable}.get(status)
    return exact or (ServerFault if status >= 500 else BadQuestion)


def problem_error(status: int, headers: Mapping[str, str], body: bytes) -> ProblemError:
    """The error for a response with a status of 400 and more.

    What stands between us and the service (a proxy) may answer in its own words: then the code is ``http-<status>``.
    """
    try:
        problem = msgspec.json.decode(body, type=Problem)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
        problem = Problem(
            type="about:blank", title="not an answer of the service", status=status, code=f"http-{status}",
            detail=f"status {status} without problem details",
        )  # fmt: skip
    return _family(status)(problem, seconds_to_wait(headers.get("retry-after")))


def seconds_to_wait(retry_after: str | None, now: datetime | None = None) -> float | None:
    """The seconds that a ``Retry-After`` header means (RFC 9110, 10.2.3: seconds or a date); None when it says neither.

    ``now`` is the time that a date is set against, that of the clock when left out.
    """
    text = (retry_after or "").strip()
    if text.isascii() and text.isdigit():
        return float(text[:9])
    try:
        until = parsedate_to_datetime(text)
    except ValueError:
        return None
    # A date without a zone is in GMT, as all dates of HTTP are.
    until = until if until.tzinfo else until.replace(tzinfo=UTC)
    return max((until - (now or datetime.now(UTC))).total_seconds(), 0.0)
