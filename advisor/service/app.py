"""The HTTP application: the routes over a loaded library, every error a problem."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager
from functools import partial
from typing import Any

from litestar import Litestar, Request, Response, Router, get
from litestar.di import Provide
from litestar.routes import HTTPRoute

from advisor.errors import AdvisorError
from advisor.library import Library
from advisor.service.access.guard import guarded
from advisor.service.access.layer import Access
from advisor.service.asking.arriving import joined
from advisor.service.asking.media_types import best_of
from advisor.service.asking.patience import Patience
from advisor.service.asking.speaking import Speaking
from advisor.service.contract import contract
from advisor.service.groups import GROUPS
from advisor.service.handling import handle
from advisor.service.jobs.board import Board
from advisor.service.jobs.queue import Jobs
from advisor.service.live.hub import Hub
from advisor.service.live.submitting import recompute
from advisor.service.notes.store import Notes
from advisor.service.pages import PAGES
from advisor.service.problems import PROBLEM
from advisor.service.running.copies import Copies
from advisor.service.running.served import Served
from advisor.service.seen.layer import Seen
from advisor.service.seen.metrics import Metrics
from advisor.service.seen.readiness import Readiness
from advisor.service.seen.routes import metrics_route
from advisor.service.seen.wiring import register
from advisor.service.settings import Settings
from advisor.service.weighing.pool import Pool
from advisor.service.weighing.work import JSON, Desk

__all__ = ["Layer", "Service", "create_app"]

Layer = Callable[[Any], Any]
"""What is laid around the application: it takes one (ASGI) and gives one, and sees every connection, found or not."""


class Service(Litestar):
    """The application with its layers; what can be got with GET can be asked for with HEAD (RFC 9110, 9.3.2)."""

    def __init__(
        self, *, layers: Sequence[Layer] = (), leaving: Sequence[Callable[[], None]] = (), served: Served, **given: Any
    ) -> None:
        self.served = served
        super().__init__(**given)
        self._leaving = tuple(leaving)
        self._outermost: Any = self._within
        for layer in reversed(layers):
            self._outermost = layer(self._outermost)

    def leave(self) -> None:
        """End what would go on for ever; for a server to call before it waits for its connections."""
        for end in self._leaving:
            end()

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        """One connection, as ASGI has it."""
        if scope["type"] == "lifespan":
            return await super().__call__(scope, receive, send)
        await self._outermost(scope, receive, send)
        return None

    async def _within(self, scope: Any, receive: Any, send: Any) -> None:
        """One connection, inside the layers."""
        if scope["type"] != "http":
            return await super().__call__(scope, receive, send)
        given, bare = scope, scope["method"] == "HEAD"

        async def answer(message: Any) -> None:
            if message["type"] == "http.response.start":
                methods = self._methods(scope) if scope["method"] == "OPTIONS" else set()
                message["headers"] = [(k, _allowed(k, v, methods)) for k, v in message["headers"]]
            elif bare and message["type"] == "http.response.body":
                message = {**message, "body": b""}
            await send(message)

        if bare:
            # A stream, whose body nobody gets here, would have no end.
            scope = {**scope, "method": "GET", "advisor.bare": True}
        try:
            return await super().__call__(scope, receive, answer)
        finally:
            if bare and "route_handler" in scope:
                given["route_handler"], given["path_template"] = scope["route_handler"], scope.get("path_template")

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


@get("/v1/openapi.json", include_in_schema=False, sync_to_thread=False, opt={"needs": "none"})
def openapi_document() -> Response[dict[str, Any]]:
    """The OpenAPI document of this very application."""
    return Response(contract(), media_type=JSON)


async def _check_acceptable(request: Request[Any, Any, Any]) -> None:
    """Refuse a caller who will take nothing that we can give."""
    given = joined(request.scope, b"accept").strip()
    if given and best_of(given, (JSON, PROBLEM)) is None:
        raise AdvisorError("not-acceptable", f"`accept` is `{given}`", help=f"accept `{JSON}`")


def _desk(library: Library, settings: Settings) -> Desk:
    """A desk for a library, as the settings have it."""
    return (Pool if settings.workers else Desk).of(library, settings)


def create_app(
    settings: Settings, library: Library, *, desk: Desk | None = None, jobs: Jobs | None = None,
    copies: Copies | None = None,
) -> Service:
    """The application over a loaded library; ``desk`` weighs the questions, ``jobs`` runs what takes long.

    ``copies`` are those that the library was loaded from, see there.
    """
    metrics = Metrics()

    def make(library: Library, settings: Settings) -> Desk:
        made = _desk(library, settings)
        made.seen = metrics.saw
        return made

    served = Served(settings, library, desk or make(library, settings), make, copies)
    bench = jobs or Jobs(settings)
    board = Board(settings, bench)
    hub = Hub(settings)
    bot = None
    if settings.discord_public_key:
        # Its libraries cost nobody anything who has no bot.
        from advisor.service.bot.interactions import Bot

        bot = Bot(settings, library, served.desk)

    readiness = Readiness(settings, served)
    seen = Seen(settings, metrics)
    access = Access(settings)
    metrics.register(
        "advisor_rate_refusals", "Requests refused since there were too many.", lambda: access.refusals, counts=True
    )
    notes = Notes(settings)
    served.told += [lambda: bench.renew(served.holding.settings), lambda: recompute(hub, served.desk)]
    register(metrics, served, bench, hub)
    served.beats.append(metrics.refresh)

    @asynccontextmanager
    async def working(_: Litestar) -> AsyncIterator[None]:
        await served.start()
        await board.start()
        await hub.start()
        try:
            yield
        finally:
            if bot is not None:
                await bot.stop()
            await asyncio.gather(
                hub.stop(), served.stop(), readiness.close(), access.close(), notes.close(), board.stop(),
            )

    def the_library() -> Library:
        return served.library

    def the_desk() -> Desk:
        return served.desk

    def the_served() -> Served:
        return served

    def the_readiness() -> Readiness:
        return readiness

    def the_metrics() -> Metrics:
        return metrics

    def the_jobs() -> Board:
        return board

    def the_hub() -> Hub:
        return hub

    def the_notes() -> Notes:
        return notes

    layers: tuple[Layer, ...] = (
        seen.around, access.around, partial(Speaking, usual=settings.language),
        partial(Patience, seconds=settings.body_seconds),
    )  # fmt: skip
    routes = [route for group in GROUPS for route in group.routes]
    shown = [metrics_route] if settings.metrics == "yes" else []
    return Service(
        layers=layers,
        leaving=(hub.close,),
        served=served,
        route_handlers=[
            *(route for route in routes if not route.opt.get("large")),
            Router(
                "/", route_handlers=[route for route in routes if route.opt.get("large")],
                request_max_body_size=settings.max_import,
            ),
            openapi_document, *PAGES, *shown,
            *([bot.route] if bot else []),
        ],
        lifespan=[working],
        dependencies={
            "library": Provide(the_library, sync_to_thread=False),
            "desk": Provide(the_desk, sync_to_thread=False),
            "jobs": Provide(the_jobs, sync_to_thread=False),
            "served": Provide(the_served, sync_to_thread=False),
            "readiness": Provide(the_readiness, sync_to_thread=False),
            "metrics": Provide(the_metrics, sync_to_thread=False),
            "hub": Provide(the_hub, sync_to_thread=False),
            "notes": Provide(the_notes, sync_to_thread=False),
        },
        middleware=[guarded],
        before_request=_check_acceptable,
        exception_handlers={Exception: handle},
        openapi_config=None,
        logging_config=None,
        request_max_body_size=settings.max_body,
    )
