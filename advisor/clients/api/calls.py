"""What one call sends and how its answer is read: no connection in here, so that both clients share it.

A plan yields what is to be done next, ``Call`` (send it) or ``Pause`` (wait), is told what came of it, and returns the
answer. ``advisor.clients.api.sync_client`` and ``async_client`` carry plans out.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Generator, Mapping
from typing import Any, Generic, NamedTuple, Protocol, TypeVar
from urllib.parse import quote

import msgspec
from msgspec import Struct

from advisor.clients.api.errors import UnreadableAnswer, problem_error, seconds_to_wait

__all__ = [
    "AGAIN", "JSON", "Call", "Given", "Lost", "Pause", "Plan", "Reply", "Retries", "Steps", "get", "json_of",
    "path_of", "post", "raw",
]

R = TypeVar("R")
R_co = TypeVar("R_co", covariant=True)
JSON = "application/json"
Given = Mapping[str, Any]
"""A request as JSON has it, in place of its Struct."""
AGAIN = frozenset({429, 502, 503, 504})
"""Statuses after which the same call may do better."""


class Retries(Struct, frozen=True, kw_only=True):
    """How often and how long to try again, where a call may be repeated.

    ``times`` more tries; the pause before try n is at most ``first`` * 2^n seconds and at most ``longest``, and at
    least half of that (chosen at random, so that many clients do not come back at once). What the service says in
    ``Retry-After`` is waited for, unless it is more than ``patience`` seconds: then the call fails at once.
    """

    times: int = 3
    first: float = 0.2
    longest: float = 10.0
    patience: float = 60.0

    def pause(self, tried: int, told: float | None = None, chance: float | None = None) -> float | None:
        """Seconds to wait after ``tried`` vain tries; None: give up. ``chance`` is from 0 to 1, random when None."""
        if tried > self.times or (told is not None and told > self.patience):
            return None
        drawn = random.random() if chance is None else chance
        # 2^30 pauses are beyond any `longest`; larger powers would overflow.
        backoff = min(self.first * 2.0 ** min(tried - 1, 30), self.longest) * (0.5 + drawn / 2)
        return max(backoff, told or 0.0)


class Reply(NamedTuple):
    """What came back: status, headers (names in lower case) and body."""

    status: int
    headers: Mapping[str, str]
    body: bytes


class Lost(NamedTuple):
    """Nothing came back. ``error`` says why, ``again``: another try may do better."""

    error: Exception
    again: bool


class Pause(NamedTuple):
    """Wait for so many seconds."""

    seconds: float


Steps = Generator["Call[Any] | Pause", Reply | Lost | None, R]
"""A plan under way: yields steps, is sent what came of them (None after a pause), returns the answer."""


class Plan(Protocol[R_co]):
    """Something that leads to an answer."""

    def steps(self, retries: Retries) -> Steps[R_co]:
        """Its steps. Errors: ``ApiError``."""


class Call(Struct, Generic[R], frozen=True, kw_only=True):
    """One request, and how its answer is read.

    ``path`` is under the address of the service, ``body`` JSON or None, ``accept`` the media type that is wanted.
    ``sent_as`` is the body's.
    ``safe``: it may be sent twice, since it changes nothing or carries a key under which the second does nothing.
    """

    method: str
    path: str
    read: Callable[[bytes], R]
    query: tuple[tuple[str, str], ...] = ()
    body: bytes | None = None
    accept: str = JSON
    safe: bool = True
    key: str | None = None
    sent_as: str = JSON

    @property
    def headers(self) -> dict[str, str]:
        """The headers of the request."""
        # Problems come as such whatever is accepted; to accept them would be to accept JSON in place of a picture.
        out = {"accept": self.accept}
        if self.body is not None:
            out["content-type"] = self.sent_as
        if self.key is not None:
            out["idempotency-key"] = self.key
        return out

    def steps(self, retries: Retries) -> Steps[R]:
        """Send it, again after a pause where that is safe and may help, and read the answer. Errors: ``ApiError``."""
        tried = 0
        while True:
            came = yield self
            tried += 1
            pause = self._pause(came, tried, retries)
            if pause is None:
                return self._answer(came)
            yield Pause(pause)

    def _pause(self, came: Reply | Lost | None, tried: int, retries: Retries) -> float | None:
        if not self.safe:
            return None
        if isinstance(came, Lost):
            return retries.pause(tried) if came.again else None
        if came is None or came.status not in AGAIN:
            return None
        return retries.pause(tried, seconds_to_wait(came.headers.get("retry-after")))

    def _answer(self, came: Reply | Lost | None) -> R:
        if isinstance(came, Lost):
            raise came.error
        assert came is not None, "a call is answered or lost"
        if came.status >= 400:
            raise problem_error(*came)
        if came.status >= 300:
            moved = came.headers.get("location", "nowhere")
            raise UnreadableAnswer(f"{self.method} {self.path} was sent on to {moved}; name the service's own address")
        try:
            return self.read(came.body)
        except (msgspec.DecodeError, UnicodeDecodeError) as error:
            raise UnreadableAnswer(f"{self.method} {self.path} was answered in another form: {error}") from None


def raw(body: bytes) -> bytes:
    """The body as it came."""
    return body


def json_of(kind: type[R]) -> Callable[[bytes], R]:
    """Reads a body of JSON as ``kind``."""
    return msgspec.json.Decoder(kind).decode


def path_of(*parts: str) -> str:
    """The path of parts, each of which may hold anything."""
    return "/" + "/".join(quote(part, safe="") for part in parts)


def get(path: str, kind: type[R], query: Given | None = None) -> Call[R]:
    """A call that reads; ``query`` without what is None."""
    given = tuple((name, str(value)) for name, value in (query or {}).items() if value is not None)
    return Call(method="GET", path=path, read=json_of(kind), query=given)


def post(
    path: str, body: Struct | Given | bytes, read: Callable[[bytes], R], *,
    accept: str = JSON, changes: bool = False, key: str | None = None,
) -> Call[R]:  # fmt: skip
    """A call that submits ``body`` (bytes: JSON already). What ``changes`` something is sent twice only with a ``key``,
    which goes along as ``Idempotency-Key``."""
    sent = body if isinstance(body, bytes) else msgspec.json.encode(body)
    safe = not changes or key is not None
    return Call(method="POST", path=path, read=read, body=sent, accept=accept, safe=safe, key=key)
