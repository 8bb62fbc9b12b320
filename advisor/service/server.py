"""Running the service: the address is taken first, the data are loaded, and then it answers until told to stop."""

from __future__ import annotations

import signal
import socket
from collections.abc import Callable

import uvicorn

from advisor.errors import QuestionError
from advisor.service.app import create_app
from advisor.service.settings import Settings
from advisor.service.work import load_settings

__all__ = ["listen", "run"]

BACKLOG = 2048
"""Connections that may wait to be taken."""
PATIENCE = 1
"""Seconds that requests under way have when the service is told to stop."""


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
    """The server; says when and where it answers."""

    def __init__(self, config: uvicorn.Config, ready: Callable[[], None]) -> None:
        super().__init__(config)
        self._ready = ready

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        if self.started:
            self._ready()


def _leave(*_: object) -> None:
    """End in order; the server hands a signal on to this once it has stopped."""
    raise SystemExit(0)


def run(settings: Settings, *, say: Callable[[str], None]) -> None:
    """Serve until SIGTERM or SIGINT; ``say`` is told the address once the service answers there.

    Errors: ``DataError`` for faulty packs or rules, ``QuestionError`` for an address that cannot be had.
    """
    bound = listen(settings.host, settings.port)
    for asked in (signal.SIGTERM, signal.SIGINT):
        signal.signal(asked, _leave)
    try:
        app = create_app(settings, load_settings(settings))
        host, port = bound.getsockname()[:2]
        shown = f"[{host}]" if ":" in host else host
        config = uvicorn.Config(
            app, lifespan="on", log_level="info", server_header=False, timeout_graceful_shutdown=PATIENCE
        )
        server = _Server(config, lambda: say(f"listening on http://{shown}:{port}"))
        server.run(sockets=[bound])
    finally:
        bound.close()
