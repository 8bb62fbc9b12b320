"""A response that is ready: bytes and headers as the server takes them, with nothing left to find out."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

__all__ = ["Sent"]


class Sent:
    """An ASGI application that sends one response; with a body and its length unless the status has none (304)."""

    __slots__ = ("_body", "_headers", "_status")

    def __init__(self, status: int, media_type: str, body: bytes, headers: Mapping[str, str]) -> None:
        self._status, self._body = status, body
        self._headers = [(name.lower().encode("ascii"), value.encode("latin-1")) for name, value in headers.items()]
        if status != 304:
            self._headers.append((b"content-type", media_type.encode("ascii")))
            self._headers.append((b"content-length", b"%d" % len(body)))

    async def __call__(self, _: Any, __: Any, send: Any) -> None:
        """Send it."""
        await send({"type": "http.response.start", "status": self._status, "headers": self._headers})
        await send({"type": "http.response.body", "body": self._body, "more_body": False})
