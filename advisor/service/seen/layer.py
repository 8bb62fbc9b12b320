"""What is laid around everything else: every request gets an id, a line in the log and a place in the metrics."""

from __future__ import annotations

import logging
from time import perf_counter
from typing import Any

from advisor.errors import AdvisorError
from advisor.service.problems import GONE, PROBLEM, encode_problem, problem_of
from advisor.service.seen.about import ABOUT, About, request_id
from advisor.service.seen.logs import make_logger
from advisor.service.seen.metrics import Metrics
from advisor.service.seen.trace import read_trace
from advisor.service.settings import Settings

__all__ = ["Seen"]

_log = logging.getLogger("advisor.service")
UNMATCHED = "unmatched"
"""The operation of a request for something that is not here."""
LONGEST_PATH = 200


class Seen:
    """What the service shows of its requests. ``around(app)`` is the layer; one for each application."""

    def __init__(self, settings: Settings, metrics: Metrics) -> None:
        self.metrics = metrics
        self.in_flight = 0
        self.lines = make_logger(settings)
        self._names: dict[int, tuple[Any, str]] = {}
        metrics.register("advisor_requests_in_flight", "Requests under way.", lambda: self.in_flight)

    def around(self, app: Any) -> Any:
        """The application with this layer around it."""

        async def seen(scope: Any, receive: Any, send: Any) -> None:
            if scope["type"] == "http":
                await self._http(app, scope, receive, send)
            elif scope["type"] == "websocket":
                await self._socket(app, scope, receive, send)
            else:
                await app(scope, receive, send)

        return seen

    def _about(self, scope: Any) -> About:
        given: bytes | None = None
        parents: list[bytes] = []
        states: list[bytes] = []
        for name, value in scope["headers"]:
            if name == b"x-request-id":
                given = value
            elif name == b"traceparent":
                parents.append(value)
            elif name == b"tracestate":
                states.append(value)
        # A trace nobody asked for and nobody writes down is not worth its making.
        trace = read_trace(parents, states) if parents or self.lines is not None else None
        return About(request_id(given), trace)

    async def _http(self, app: Any, scope: Any, receive: Any, send: Any) -> None:
        began = perf_counter()
        about = scope["advisor.about"] = self._about(scope)
        method = scope["method"]
        status = size = 0

        async def answer(message: Any) -> None:
            nonlocal status, size
            if message["type"] == "http.response.start":
                status = message["status"]
                message["headers"] = [*message["headers"], (b"x-request-id", about.id.encode("ascii"))]
            else:
                size += len(message.get("body", b""))
            await send(message)

        async def heard() -> Any:
            message = await receive()
            if message["type"] == "http.disconnect" and not status:
                scope[GONE] = True
            return message

        token = ABOUT.set(about)
        self.in_flight += 1
        try:
            await app(scope, heard, answer)
        except Exception as error:
            _log.error("%s %s", method, scope["path"], exc_info=error)
            if status:
                raise
            await _fault(answer)
        finally:
            self.in_flight -= 1
            if GONE in scope:
                status = 0
            seconds = perf_counter() - began
            operation = self._operation(scope)
            self.metrics.answered(operation, method, status, seconds)
            if self.lines is not None:
                self._write(scope, operation, method, status, seconds, size)
            ABOUT.reset(token)

    async def _socket(self, app: Any, scope: Any, receive: Any, send: Any) -> None:
        scope["advisor.about"] = about = self._about(scope)
        began = perf_counter()
        token = ABOUT.set(about)
        try:
            await app(scope, receive, send)
        finally:
            if self.lines is not None:
                self._write(scope, self._operation(scope), "WS", 0, perf_counter() - began, 0)
            ABOUT.reset(token)

    def _operation(self, scope: Any) -> str:
        """The operation id, or else the template of the path."""
        handler = scope.get("route_handler")
        if handler is None:
            return UNMATCHED
        found = self._names.get(id(handler))
        if found is None:
            name = getattr(handler, "operation_id", None) or scope.get("path_template") or UNMATCHED
            # The handler is kept with its name, so that its number stays its own.
            found = self._names[id(handler)] = (handler, str(name))
        return found[1]

    def _write(self, scope: Any, operation: str, method: str, status: int, seconds: float, size: int) -> None:
        path = scope.get("path_template")
        if operation == UNMATCHED or not path:
            # Some servers leave the query in it, and a key may stand there.
            raw = scope.get("raw_path", b"").partition(b"?")[0]
            path = raw[:LONGEST_PATH].decode("ascii", "backslashreplace")
        more = {}
        if (caller := scope.get("advisor.caller")) is not None:
            more["caller"] = getattr(caller, "id", None) or getattr(caller, "kind", None)
        write = self.lines.error if status >= 500 else self.lines.info
        write(
            "request", method=method, path=path, operation=operation, status=status, ms=round(seconds * 1000, 2),
            bytes=size, **more,
        )  # fmt: skip


async def _fault(answer: Any) -> None:
    """The answer where no part of the application gave one."""
    body = encode_problem(problem_of(AdvisorError("fault", "something went wrong on our side")))
    headers = [(b"content-type", PROBLEM.encode("ascii")), (b"content-length", str(len(body)).encode("ascii"))]
    await answer({"type": "http.response.start", "status": 500, "headers": headers})
    await answer({"type": "http.response.body", "body": body})
