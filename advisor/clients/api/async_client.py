"""The client whose answers are awaited."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from types import TracebackType
from typing import Any, Self, TypeVar

import httpx

from advisor.clients.api import transport
from advisor.clients.api.calls import Call, Lost, Pause, Plan, Reply, Retries
from advisor.clients.api.carrying import AsyncCarrier, Operations
from advisor.clients.api.sse import Event, Listening

__all__ = ["AsyncAdvisor"]

R = TypeVar("R")


class AsyncAdvisor(Operations, AsyncCarrier):
    """As ``Advisor``, with methods to be awaited; an asynchronous context manager."""

    def __init__(
        self, base_url: str = "http://127.0.0.1:8345", *, key: str | None = None, timeout: float = 30.0,
        retries: int | Retries = 3, through: httpx.AsyncBaseTransport | None = None,
    ) -> None:  # fmt: skip
        self._retries = transport.retries_of(retries)
        self._http = httpx.AsyncClient(**transport.connection(base_url, key, timeout), transport=through)

    async def __aenter__(self) -> Self:
        await self._http.__aenter__()
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        await self._http.__aexit__(kind, error, trace)

    async def close(self) -> None:
        """Close the connections."""
        await self._http.aclose()

    async def carry_out(self, plan: Plan[R]) -> R:
        """The answer of a plan. Errors: ``ApiError``."""
        steps = plan.steps(self._retries)
        try:
            step = next(steps)
            while True:
                step = steps.send(await self._done(step))
        except StopIteration as over:
            answer: R = over.value
            return answer

    async def _done(self, step: Call[Any] | Pause) -> Reply | Lost | None:
        if isinstance(step, Pause):
            await asyncio.sleep(step.seconds)
            return None
        try:
            return transport.reply(await self._http.request(**transport.request_of(step)))
        except httpx.RequestError as error:
            return transport.lost(error, str(self._http.base_url))

    async def listen(
        self, channel: str, *, last_id: str = "", tries: int | None = None, silence: float = 60.0
    ) -> AsyncIterator[Event]:
        """As ``Advisor.listen``."""
        listening, path = Listening(tries, last_id), transport.events_path(channel)
        waits = transport.quiet_for(silence)
        pause: float | None = 0.0
        while pause is not None:
            try:
                async with self._http.stream("GET", path, headers=listening.headers(), timeout=waits) as came:
                    if listening.opened(came.status_code, came.headers.get("content-type", "")):
                        async for piece in came.aiter_bytes():
                            for event in listening.feed(piece):
                                yield event
                        pause = listening.lost(None)
                    else:
                        pause = listening.refused(came.status_code, came.headers, await came.aread())
            except httpx.RequestError as error:
                pause = listening.lost(transport.unreachable(error, str(self._http.base_url)))
            if pause is not None:
                await asyncio.sleep(pause)
