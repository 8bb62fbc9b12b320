"""A bound on how long a body may take to arrive: who sends half a question and waits must not be waited for."""

from __future__ import annotations

import asyncio
import types
from collections.abc import Coroutine, Generator
from typing import Any, TypeVar

from advisor.errors import AdvisorError

__all__ = ["Patience"]

T = TypeVar("T")


class SlowBody(AdvisorError):
    """The body did not come; the connection, on which the rest of it may still come, is not kept."""

    headers = {"Connection": "close"}

    def __init__(self, seconds: float) -> None:
        help = "send as many bytes as `content-length` says"
        super().__init__("body-slow", f"the body did not arrive within {seconds:g} seconds", help=help)


class Patience:
    """An ASGI layer: reading a body fails with the problem ``body-slow`` once ``seconds`` have gone by.

    Reading goes on as the routes ask for it, so the error reaches them and becomes their answer.
    """

    def __init__(self, app: Any, seconds: float) -> None:
        self._app = app
        self._seconds = seconds

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        """One connection, as ASGI has it."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        until: float | None = asyncio.get_running_loop().time() + self._seconds

        async def in_time() -> Any:
            nonlocal until
            if until is None:  # The body is there: what is waited for now is the end of the connection.
                return await receive()
            # Most bodies are there already, and need no clock.
            coming = receive()
            try:
                waited_for = coming.send(None)
            except StopIteration as there:
                message = there.value
            else:
                message = await self._within(until, coming, waited_for)
            if not message.get("more_body", False):
                until = None
            return message

        await self._app(scope, in_time, send)

    async def _within(self, until: float, begun: Coroutine[Any, Any, T], waited_for: Any) -> T:
        try:
            async with asyncio.timeout_at(until):
                return await _rest(begun, waited_for)
        except TimeoutError:
            raise SlowBody(self._seconds) from None


@types.coroutine
def _rest(begun: Coroutine[Any, Any, T], waited_for: Any) -> Generator[Any, Any, T]:
    """The rest of what was begun by hand, which waits for something by now."""
    try:
        yield waited_for
    except BaseException:
        begun.close()
        raise
    return (yield from begun.__await__())
