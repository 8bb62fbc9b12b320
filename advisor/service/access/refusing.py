"""Refusing a connection outside of the routes."""

from __future__ import annotations

from typing import Any

from advisor.errors import STATUS, AdvisorError
from advisor.service.problems import PROBLEM, encode_problem, problem_of

__all__ = ["refuse_request", "refuse_socket"]

Headers = list[tuple[bytes, bytes]]


def _told(error: AdvisorError, more: Headers) -> tuple[int, Headers, bytes]:
    body = encode_problem(problem_of(error))
    own = [(k.lower().encode("ascii"), v.encode("latin-1", "replace"))
           for k, v in getattr(error, "headers", {}).items()]  # fmt: skip
    length = str(len(body)).encode("ascii")
    given = [(b"content-type", PROBLEM.encode("ascii")), (b"content-length", length), (b"cache-control", b"no-store")]
    return STATUS[error.code], [*given, *own, *more], body


async def refuse_request(scope: Any, send: Any, error: AdvisorError) -> None:
    """Answer with the problem; to HEAD with its headers."""
    status, headers, body = _told(error, [])
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": b"" if scope["method"] == "HEAD" else body})


async def refuse_socket(scope: Any, send: Any, error: AdvisorError, more: Headers | None = None) -> None:
    """Refuse a socket with the problem as an HTTP response, or where that cannot be, with a code of 4000 and status."""
    status, headers, body = _told(error, more or [])
    if "websocket.http.response" not in (scope.get("extensions") or {}):
        await send({"type": "websocket.close", "code": 4000 + status, "reason": error.code})
        return
    await send({"type": "websocket.http.response.start", "status": status, "headers": headers})
    await send({"type": "websocket.http.response.body", "body": body})
