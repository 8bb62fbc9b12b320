"""The client that waits for its answers."""

from __future__ import annotations

import time
from collections.abc import Iterator
from types import TracebackType
from typing import Any, Self, TypeVar

import httpx

from advisor.clients.api import transport
from advisor.clients.api.calls import Call, Lost, Pause, Plan, Reply, Retries
from advisor.clients.api.carrying import Carrier, Operations
from advisor.clients.api.sse import Event, Listening

__all__ = ["Advisor"]

R = TypeVar("R")


class Advisor(Operations, Carrier):
    """A client of the service at ``base_url``; a context manager, and to be closed otherwise.

    ``key`` is sent as a bearer token. ``timeout`` is in seconds, for each wait on the network. ``retries`` is how many
    more tries there are where a call may be sent twice, or ``Retries`` to say more. ``through`` replaces the network.
    It may be used from several threads. Errors of every method: ``ApiError``.
    """

    def __init__(
        self, base_url: str = "http://127.0.0.1:8345", *, key: str | None = None, timeout: float = 30.0,
        retries: int | Retries = 3, through: httpx.BaseTransport | None = None,
    ) -> None:  # fmt: skip
        self._retries = transport.retries_of(retries)
        self._http = httpx.Client(**transport.connection(base_url, key, timeout), transport=through)

    def __enter__(self) -> Self:
        self._http.__enter__()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._http.__exit__(kind, error, trace)

    def close(self) -> None:
        """Close the connections."""
        self._http.close()

    def carry_out(self, plan: Plan[R]) -> R:
        """The answer of a plan. Errors: ``ApiError``."""
        steps = plan.steps(self._retries)
        try:
            step = next(steps)
            while True:
                step = steps.send(self._done(step))
        except StopIteration as over:
            answer: R = over.value
            return answer

    def _done(self, step: Call[Any] | Pause) -> Reply | Lost | None:
        if isinstance(step, Pause):
            time.sleep(step.seconds)
            return None
        try:
            return transport.reply(self._http.request(**transport.request_of(step)))
        except httpx.RequestError as error:
            return transport.lost(error, str(self._http.base_url))

    def listen(
        self, channel: str, *, last_id: str = "", tries: int | None = None, silence: float = 60.0
    ) -> Iterator[Event]:
        """The events of a live channel as they come; a stream that ends or breaks is asked for again after the last id.

        It goes on until the caller stops, the service says that there is nothing more (204), or ``tries`` tries in a
        row were vain. ``last_id`` goes on after that event, ``silence`` is the most seconds without a heartbeat.
        Errors: ``ProblemError`` for what waiting does not mend, ``Unreachable`` after ``tries``.
        """
        listening, path = Listening(tries, last_id), transport.events_path(channel)
        waits = transport.quiet_for(silence)
        pause: float | None = 0.0
        while pause is not None:
            try:
                with self._http.stream("GET", path, headers=listening.headers(), timeout=waits) as came:
                    if listening.opened(came.status_code, came.headers.get("content-type", "")):
                        for piece in came.iter_bytes():
                            yield from listening.feed(piece)
                        pause = listening.lost(None)
                    else:
                        pause = listening.refused(came.status_code, came.headers, came.read())
            except httpx.RequestError as error:
                pause = listening.lost(transport.unreachable(error, str(self._http.base_url)))
            if pause is not None:
                time.sleep(pause)
