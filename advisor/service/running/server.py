"""Running the service: the address is taken first, the data are loaded, and then it answers until told to stop."""

from __future__ import annotations

import asyncio
import contextlib
import signal
import socket
import threading
from collections.abc import Callable
from multiprocessing.connection import Connection

import uvicorn

from advisor.errors import AdvisorError, QuestionError
from advisor.service.access.check import check_start
from advisor.service.app import Service, create_app
from advisor.service.live.check import check_live
from advisor.service.running.copies import Copies
from advisor.service.running.links import Link, Refused
from advisor.service.running.served import Served
from advisor.service.running.servers import Servers
from advisor.service.seen.logs import write_logs
from advisor.service.settings import Settings
from advisor.service.weighing.work import end_with_the_server, load_settings

__all__ = ["listen", "run", "serve_one"]

BACKLOG = 2048
"""Connections that may wait to be taken."""


def listen(host: str, port: int) -> socket.socket:
    """A socket that listens on the address; port 0 takes a free one.

    Errors: ``QuestionError`` naming the address and why it cannot be had.
    """
    try:
        family, kind, protocol, _, address = socket.getaddrinfo(
            host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
        )[0]
        bound = socket.socket(family, kind, protocol)
        bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            bound.bind(address)
            # Two sockets may be bound to one address until one of them listens.
            bound.listen(BACKLOG)
        except OSError:
            bound.close()
            raise
    except OSError as error:
        raise QuestionError(
            "value-invalid",
            f"cannot listen on `{host}:{port}`: {(error.strerror or str(error)).lower()}",
            help="choose another address with --host and --port, or stop what is listening there",
        ) from None
    return bound


class _Server(uvicorn.Server):
    """The server; says when it answers, reloads on SIGHUP."""

    def __init__(self, config: uvicorn.Config, served: Served, ready: Callable[[], None]) -> None:
        super().__init__(config)
        self._served, self._ready = served, ready
        self._reloads: set[asyncio.Task[None]] = set()

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        if self.started:
            asyncio.get_running_loop().add_signal_handler(signal.SIGHUP, self._hang_up)
            self._ready()

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        # Streams have no end of their own, and would be waited for.
        self.config.app.leave()  # type: ignore[union-attr]
        await super().shutdown(sockets)

    def _hang_up(self) -> None:
        task = asyncio.ensure_future(self._reload())
        self._reloads.add(task)
        task.add_done_callback(self._reloads.discard)

    async def _reload(self) -> None:
        # Whoever reloads writes down what came of it.
        with contextlib.suppress(AdvisorError):
            await self._served.reload()


def _leave(*_: object) -> None:
    """End in order; the server hands a signal on to this once it has stopped."""
    raise SystemExit(0)


def _serve(app: Service, settings: Settings, bound: socket.socket, ready: Callable[[], None]) -> None:
    """Answer on the socket until told to stop."""
    config = uvicorn.Config(
        app, lifespan="on", log_config=None, access_log=False, server_header=False,
        proxy_headers=False,  # whom to believe about addresses is a setting of ours
        timeout_graceful_shutdown=settings.grace,
        ws_per_message_deflate=False,  # an event would be compressed anew for each of thousands
    )  # fmt: skip
    _Server(config, app.served, ready).run(sockets=[bound])


def _signals() -> None:
    """Until there is something to reload, SIGHUP is nothing to end by."""
    for asked in (signal.SIGTERM, signal.SIGINT):
        signal.signal(asked, _leave)
    signal.signal(signal.SIGHUP, signal.SIG_IGN)


def serve_one(settings: Settings, bound: socket.socket, pipe: Connection) -> None:
    """The life of one of several servers."""
    _signals()
    threading.Thread(target=end_with_the_server, daemon=True).start()
    write_logs(settings)
    try:
        library = load_settings(settings)
    except AdvisorError as error:
        pipe.send(Refused.of(error))
        return
    app = create_app(settings, library)
    _serve(app, settings, bound, Link(pipe, app.served).up)


def run(settings: Settings, *, say: Callable[[str], None]) -> None:
    """Serve until SIGTERM or SIGINT; ``say`` is told the address once the service answers there.

    Errors: ``DataError`` for faulty packs or rules, ``QuestionError`` for an address that cannot be had and for
    settings that do not go together.
    """
    check_live(settings)
    check_start(settings)
    bound = listen(settings.host, settings.port)
    host, port = bound.getsockname()[:2]
    shown = f"[{host}]" if ":" in host else host
    _signals()
    write_logs(settings)
    copies = Copies(settings)

    def ready() -> None:
        say(f"listening on http://{shown}:{port}")

    try:
        if settings.servers > 1:
            Servers(settings, bound, copies, serve_one, ready).run()
        else:
            taken = copies.take()
            _serve(create_app(taken, copies.load(taken), copies=copies), settings, bound, ready)
    finally:
        bound.close()
        copies.close()
