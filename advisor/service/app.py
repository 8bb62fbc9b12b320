"""The HTTP application: the routes over a loaded library, every error a problem."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager
from typing import Any

from litestar import Litestar, Request, Response, get
from litestar.datastructures.headers import Accept
from litestar.di import Provide
from litestar.routes import HTTPRoute

from advisor.errors import AdvisorError
from advisor.library import Library
from advisor.service.contract import contract
from advisor.service.groups import GROUPS
from advisor.service.jobs.queue import Jobs
from advisor.service.problems import PROBLEM, handle
from advisor.service.settings import Settings
from advisor.service.work import JSON, Desk, Pool

__all__ = ["Layer", "Service", "create_app"]

Layer = Callable[[Any], Any]
"""What is laid around the application: it takes one (ASGI) and gives one, and sees every connection, found or not."""


class Service(Litestar):
    """The application with its layers; what can be got with GET can be asked for with HEAD (RFC 9110, 9.3.2)."""

    def __init__(self, *, layers: Sequence[Layer] = (), **given: Any) -> None:
        super().__init__(**given)
        self._outermost: Any = self._within
        for layer in reversed(layers):
            self._outermost = layer(self._outermost)

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        """One connection, as ASGI has it."""
        if scope["type"] == "lifespan":
            return await super().__call__(scope, receive, send)
        return await self._outermost(scope, receive, send)

    async def _within(self, scope: Any, receive: Any, send: Any) -> None:
        """One connection, inside the layers."""
        if scope["type"] != "http":
            return await super().__call__(scope, receive, send)
        bare = scope["method"] == "HEAD"

        async def answer(message: Any) -> None:
            if message["type"] == "http.response.start":
                methods = self._methods(scope) if scope["method"] == "OPTIONS" else set()
                message["headers"] = [(k, _allowed(k, v, methods)) for k, v in message["headers"]]
            elif bare and message["type"] == "http.response.body":
                message = {**message, "body": b""}
            await send(message)

        if bare:
            scope = {**scope, "method": "GET"}
        return await super().__call__(scope, receive, answer)

    def _methods(self, scope: Any) -> set[str]:
        """What is offered at the path; the framework's own answer to OPTIONS forgets all but one handler of it."""
        at = scope.get("path_template")
        return {str(m) for route in self.routes if isinstance(route, HTTPRoute) and route.path_format == at
                for m in route.methods}  # fmt: skip


def _allowed(name: bytes, value: bytes, more: set[str]) -> bytes:
    """The value of a header, with ``more`` methods; where GET is allowed, so is HEAD."""
    if name.lower() != b"allow":
        return value
    methods = {m.strip() for m in value.decode("ascii").split(",")} | more
    return ", ".join(sorted(methods | ({"HEAD"} if "GET" in methods else set()))).encode("ascii")


@get("/v1/openapi.json", include_in_schema=False, sync_to_thread=False)
def openapi_document() -> Response[dict[str, Any]]:
    """The OpenAPI document of this very application."""
    return Response(contract(), media_type=JSON)


def _check_acceptable(request: Request[Any, Any, Any]) -> None:
    """Refuse a caller who will take nothing that we can give."""
    given = request.headers.get("accept", "").strip()
    if given and Accept(given).best_match([JSON, PROBLEM]) is None:
        raise AdvisorError("not-acceptable", f"`accept` is `{given}`", help=f"accept `{JSON}`")


def create_app(settings: Settings, library: Library, *, desk: Desk | None = None, jobs: Jobs | None = None) -> Service:
    """The application over a loaded library; ``desk`` weighs the questions, ``jobs`` runs what takes long."""
    chosen = desk or (Pool(library, settings) if settings.workers else Desk(library))
    bench = jobs or Jobs(settings)

    @asynccontextmanager
    async def working(_: Litestar) -> AsyncIterator[None]:
        await chosen.start()
        bench.start()
        try:
            yield
        finally:
            await asyncio.gather(chosen.stop(), asyncio.to_thread(bench.stop))

    def the_library() -> Library:
        return library

    def the_desk() -> Desk:
        return chosen

    def the_jobs() -> Jobs:
        return bench

    layers: tuple[Layer, ...] = ()
    return Service(
        layers=layers,
        route_handlers=[*(route for group in GROUPS for route in group.routes), openapi_document],
        lifespan=[working],
        dependencies={
            "library": Provide(the_library, sync_to_thread=False),
            "desk": Provide(the_desk, sync_to_thread=False),
            "jobs": Provide(the_jobs, sync_to_thread=False),
        },
        before_request=_check_acceptable,
        exception_handlers={Exception: handle},
        openapi_config=None,
        logging_config=None,
        request_max_body_size=settings.max_body,
    )
