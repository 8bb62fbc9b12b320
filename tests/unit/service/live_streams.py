"""A server in a thread, and clients of its streams that take nothing but what the standards allow."""

from __future__ import annotations

import asyncio
import json
import re
import socket
import threading
import time
from collections.abc import Coroutine, Iterator
from contextlib import contextmanager
from typing import Any, NamedTuple, TypeVar

import httpx
import uvicorn

from advisor.library import Library
from advisor.service.app import Service, create_app
from advisor.service.live.hub import Hub
from advisor.service.settings import Settings

T = TypeVar("T")
LINE = re.compile(r"(?P<field>id|event|data|retry): (?P<value>.*)|:(?P<comment>.*)")


class Got(NamedTuple):
    """One block of a stream: an event, a comment or a pause before connecting again."""

    id: str = ""
    event: str = ""
    data: Any = None
    comment: str = ""
    retry: int = 0


def blocks(text: str) -> list[Got]:
    """A whole stream (WHATWG HTML, 9.2.5), each field once in a block; whatever else is in it is a mistake."""
    assert "\r" not in text and "\0" not in text
    *parts, rest = text.split("\n\n")
    assert rest == "", rest
    return [block(part) for part in parts]


def block(part: str) -> Got:
    found: dict[str, str] = {}
    for line in part.split("\n"):
        match = LINE.fullmatch(line)
        assert match, line
        name = match["field"] or "comment"
        assert name not in found, part
        found[name] = match["value"] if match["field"] else match["comment"].strip()
    if "data" in found:
        assert found.keys() == {"id", "event", "data"}
        data = json.loads(found["data"])
        assert (data["id"], data["event"]) == (found["id"], found["event"])
        return Got(found["id"], found["event"], data)
    assert len(found) == 1, part
    return Got(comment=found.get("comment", ""), retry=int(found.get("retry", "0")))


class Running:
    """An application that is served on a free port by a thread."""

    def __init__(self, app: Service, hub: Hub) -> None:
        self.app, self.hub = app, hub
        self.socket = socket.create_server(("127.0.0.1", 0), backlog=100)
        self.port = self.socket.getsockname()[1]
        self.url = f"http://127.0.0.1:{self.port}"
        self.loop: asyncio.AbstractEventLoop | None = None
        self.server = uvicorn.Server(
            uvicorn.Config(app, log_level="critical", ws_per_message_deflate=False, timeout_graceful_shutdown=5)
        )
        self.up = threading.Event()
        self.thread = threading.Thread(target=lambda: asyncio.run(self._serve()))

    async def _serve(self) -> None:
        self.loop = asyncio.get_running_loop()
        asyncio.get_running_loop().call_later(0, self.up.set)
        await self.server.serve(sockets=[self.socket])

    def call(self, work: Coroutine[Any, Any, T]) -> T:
        """The outcome of work on the server's loop."""
        assert self.loop is not None
        return asyncio.run_coroutine_threadsafe(work, self.loop).result(10)


def hub_of(app: Service) -> Hub:
    hub: Hub = app.dependencies["hub"].dependency()
    return hub


@contextmanager
def running(library: Library, **changed: Any) -> Iterator[Running]:
    app = create_app(Settings(workers=0, **changed), library)
    server = Running(app, hub_of(app))
    server.thread.start()
    try:
        assert server.up.wait(5)
        httpx.get(f"{server.url}/v1/live").raise_for_status()
        yield server
    finally:
        app.leave()
        server.server.should_exit = True
        server.thread.join(10)


class Stream:
    """A subscriber over server-sent events, block by block; ``last`` is the id it would come back with."""

    def __init__(self, port: int, channel: str, last: str = "", *, query: bool = False, small: bool = False) -> None:
        self.socket = socket.socket()
        if small:
            self.socket.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        self.socket.settimeout(10)
        self.socket.connect(("127.0.0.1", port))
        path = f"/v1/live/{channel}/events" + (f"?last_event_id={last}" if last and query else "")
        head = f"Last-Event-ID: {last}\r\n" if last and not query else ""
        request = f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1\r\nAccept: text/event-stream\r\n{head}\r\n"
        self.socket.sendall(request.encode())
        self._file = self.socket.makefile("rb")
        self.status = int(self._file.readline().split()[1])
        self.headers = dict(iter(self._header, ("", "")))
        self._text = ""
        self.last = last
        if self.status == 200:
            assert self.headers["content-type"] == "text/event-stream"
            assert self.headers["transfer-encoding"] == "chunked"

    def _header(self) -> tuple[str, str]:
        name, _, value = self._file.readline().decode().strip().partition(": ")
        return name.lower(), value

    def __enter__(self) -> Stream:
        return self

    def __exit__(self, *_: object) -> None:
        self._file.close()
        self.socket.close()

    def next(self) -> Got | None:
        """The next block; None when the stream has ended."""
        while "\n\n" not in self._text:
            size = self._file.readline()
            if not size or not (piece := self._file.read(int(size, 16))):
                return None
            assert self._file.read(2) == b"\r\n"
            self._text += piece.decode()
        part, _, self._text = self._text.partition("\n\n")
        got = block(part)
        self.last = got.id or self.last
        return got

    def event(self) -> Got | None:
        """The next event; signs of life are not waited on for ever."""
        until = time.monotonic() + 10
        while (got := self.next()) is not None and not got.event:
            assert time.monotonic() < until, "no event came"
        return got
