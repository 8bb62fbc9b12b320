"""A stand-in for the platform: its key pair with signed interactions, and its HTTP interface on a real socket."""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any, NamedTuple

from nacl.signing import SigningKey

KEY = SigningKey(bytes(range(32)))
PUBLIC = KEY.verify_key.encode().hex()
GUILD = "100000000000000001"


def signed(body: bytes, *, stamp: int | None = None, key: SigningKey = KEY) -> dict[str, str]:
    """The headers of an interaction."""
    at = str(int(time.time()) if stamp is None else stamp)
    return {
        "x-signature-ed25519": key.sign(at.encode() + body).signature.hex(), "x-signature-timestamp": at,
        "content-type": "application/json",
    }  # fmt: skip


_SERIAL = iter(range(1, 10**9))


def interaction(kind: int, name: str = "", options: dict[str, Any] | None = None, **more: Any) -> bytes:
    """The body of an interaction, with fields that nobody reads; ``focused`` names the option being typed."""
    focused = more.pop("focused", "")
    kinds = {str: 3, int: 4, bool: 5}
    given = [
        {"name": key, "type": kinds[type(value)], "value": value, **({"focused": True} if key == focused else {})}
        for key, value in (options or {}).items()
    ]
    body = {
        "type": kind, "id": str(next(_SERIAL)), "version": 1, "token": "a.token/with?signs", "application_id": "77",
        "data": {"id": "1", "type": 1, "name": name, "options": given}, **more,
    }  # fmt: skip
    return json.dumps(body).encode()


class Came(NamedTuple):
    """A request that the stand-in got."""

    method: str
    path: str
    headers: dict[str, str]
    body: bytes


class StandIn:
    """Answers requests with ``replies`` in order (status, headers, body), the last one for good; keeps what came."""

    def __init__(self) -> None:
        self.replies: list[tuple[int, dict[str, str], bytes]] = [(200, {}, b"{}")]
        self.came: list[Came] = []
        self.address = ""


@contextmanager
def platform() -> Iterator[StandIn]:
    """The stand-in at an address of its own."""
    stand_in = StandIn()

    class Handler(BaseHTTPRequestHandler):
        def answer(self) -> None:
            body = self.rfile.read(int(self.headers.get("content-length", "0")))
            headers = {key.lower(): value for key, value in self.headers.items()}
            stand_in.came.append(Came(self.command, self.path, headers, body))
            status, more, sent = stand_in.replies.pop(0) if len(stand_in.replies) > 1 else stand_in.replies[0]
            self.send_response(status)
            for key, value in {**more, "content-length": str(len(sent))}.items():
                self.send_header(key, value)
            self.end_headers()
            self.wfile.write(sent)

        do_PATCH = do_PUT = answer  # noqa: N815

        def log_message(self, *_: object) -> None:
            """Nothing is logged."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
    thread.start()
    stand_in.address = f"http://127.0.0.1:{server.server_address[1]}/api/v10"
    try:
        yield stand_in
    finally:
        server.shutdown()
        thread.join()
        server.server_close()
