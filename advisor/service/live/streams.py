"""Serving one subscriber: as server-sent events, or over a WebSocket."""

from __future__ import annotations

import asyncio
import random
from collections.abc import Awaitable, Callable, Coroutine
from contextlib import suppress
from typing import Any

from litestar import WebSocket
from litestar.response.streaming import ASGIStreamingResponse

from advisor.errors import STATUS, AdvisorError
from advisor.service.access.refusing import refuse_socket
from advisor.service.live.events import Frame, retry_line
from advisor.service.live.hub import Hub
from advisor.service.live.subscriber import Ending, Subscriber
from advisor.service.problems import RETRY_AFTER

__all__ = ["EVENT_STREAM", "EventStream", "refuse", "serve_socket"]

EVENT_STREAM = "text/event-stream"
RETRY = 1000, 3000
"""Milliseconds before a client connects again; spread, so that not all come back at once."""
LAST_WORDS = 0.3
"""Seconds for the end of a stream that the service closes."""
CODES: dict[Ending, tuple[int, str]] = {
    "slow": (1013, "too slow: come back with the last id"), "stopping": (1012, "the service is stopping"),
    "gone": (1000, ""),
}  # fmt: skip
TALKS = (1008, "nothing is taken here")

Send = Callable[[Any], Awaitable[None]]


class EventStream(ASGIStreamingResponse):
    """The events of a subscriber, until one of the two ends it; without ``follow`` only those to begin with."""

    def __init__(self, hub: Hub, member: Subscriber, *, follow: bool) -> None:
        # No intermediary may keep the events, and none should hold them back.
        # It is UTF-8 and nothing else; the framework would say so beside the type.
        headers = {"Content-Type": EVENT_STREAM, "Cache-Control": "no-store", "X-Accel-Buffering": "no"}
        super().__init__(iterator=(), headers=headers)
        self._hub, self._member, self._follow = hub, member, follow

    async def send_body(self, send: Send, receive: Callable[[], Awaitable[Any]]) -> None:
        """Send the events. The subscriber leaves the channel in any case."""
        try:
            await _until_over(self._member, self._events(send), _gone(receive))
        finally:
            self._hub.leave(self._member)

    async def _events(self, send: Send) -> None:
        low, high = RETRY
        pause = random.randint(low, high) if self._follow else low
        first = b"".join([retry_line(pause), *(Frame(entry).sse for entry in self._member.first)])
        self._member.first = ()
        await send({"type": "http.response.body", "body": first, "more_body": True})
        while self._follow and (frames := await self._member.take()):
            body = frames[0].sse if len(frames) == 1 else b"".join(frame.sse for frame in frames)
            await send({"type": "http.response.body", "body": body, "more_body": True})
        await send({"type": "http.response.body", "body": b"", "more_body": False})


async def _gone(receive: Callable[[], Awaitable[Any]]) -> None:
    while (await receive())["type"] != "http.disconnect":
        pass


async def serve_socket(hub: Hub, member: Subscriber, socket: WebSocket[Any, Any, Any]) -> None:
    """Send the events over an accepted socket, until one of the two closes it."""

    async def events() -> None:
        for entry in member.first:
            await socket.send_data(Frame(entry).text)
        member.first = ()
        while frames := await member.take():
            for frame in frames:
                await socket.send_data(frame.text)

    talked = False

    async def silence() -> None:
        nonlocal talked
        talked = (await socket.receive())["type"] == "websocket.receive"

    try:
        await _until_over(member, events(), silence())
        code, reason = TALKS if talked else CODES[member.over.result() if member.over.done() else "gone"]
        # Whoever reads too slowly would read the farewell no sooner.
        with suppress(Exception):
            async with asyncio.timeout(LAST_WORDS):
                await socket.close(code, reason)
    finally:
        hub.leave(member)


async def _until_over(
    member: Subscriber, sending: Coroutine[Any, Any, None], leaving: Coroutine[Any, Any, None]
) -> None:
    """Send until all is sent, the other side leaves, or the stream is ended: then it has a moment to end in order."""
    sender, watcher = asyncio.ensure_future(sending), asyncio.ensure_future(leaving)
    try:
        await asyncio.wait((sender, watcher, member.over), return_when=asyncio.FIRST_COMPLETED)
        if member.over.done() and not watcher.done():
            await asyncio.wait((sender,), timeout=LAST_WORDS)
    finally:
        sender.cancel()
        watcher.cancel()
        for outcome in await asyncio.gather(sender, watcher, return_exceptions=True):
            # That the other side is gone shows in many ways; a mistake of ours does not look like any of them.
            if isinstance(outcome, (TypeError, AttributeError, LookupError, AssertionError)):
                raise outcome


async def refuse(socket: WebSocket[Any, Any, Any], error: AdvisorError) -> None:
    """Refuse a socket that was not accepted yet, with the problem."""
    more = [(b"retry-after", b"%d" % RETRY_AFTER)] if STATUS[error.code] == 503 else []
    send: Any = socket.send
    await refuse_socket(socket.scope, send, error, more)
