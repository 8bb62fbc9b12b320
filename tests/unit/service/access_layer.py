"""The access layer around an application that only says who called: connections as a server hands them on."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Sequence
from typing import Any, NamedTuple

from advisor.service.access.layer import Access

Pairs = Sequence[tuple[bytes, bytes]]


class Got(NamedTuple):
    status: int
    headers: dict[str, str]
    body: Any
    scope: dict[str, Any]


def connection(path: str, headers: Pairs, **more: Any) -> dict[str, Any]:
    scope = {
        "type": "http", "method": "GET", "path": path, "query_string": b"", "scheme": "http",
        "client": ("127.0.0.1", 5), "headers": [(b"host", b"127.0.0.1:8345"), *headers],
    }  # fmt: skip
    return {**scope, **more}


async def says_who(scope: Any, receive: Any, send: Any) -> None:
    caller = scope["advisor.caller"]
    body = json.dumps({"kind": caller.kind, "id": caller.id, "scopes": sorted(caller.scopes)}).encode()
    await send({"type": "http.response.start", "status": 200, "headers": [(b"content-type", b"application/json")]})
    await send({"type": "http.response.body", "body": body})


async def ask(access: Access, path: str = "/v1/packs", headers: Pairs = (), *, app: Any = says_who, **more: Any) -> Got:
    scope = connection(path, headers, **more)
    sent: list[Any] = []

    async def send(message: Any) -> None:
        sent.append(message)

    async def receive() -> Any:
        return {"type": "http.request", "body": b"", "more_body": False}

    await access.around(app)(scope, receive, send)
    start, body = sent
    names = [name for name, _ in start["headers"]]
    twice = {name for name in names if names.count(name) > 1} - {b"vary"}
    assert not twice, "a header is there twice"
    told = {k.decode(): v.decode("latin-1") for k, v in start["headers"]}
    return Got(start["status"], told, json.loads(body["body"] or b"null"), scope)


def asked(access: Access, path: str = "/v1/packs", headers: Pairs = (), **more: Any) -> Got:
    """The same in a loop of its own."""
    return asyncio.run(ask(access, path, headers, **more))


def bearer(key: str) -> tuple[bytes, bytes]:
    return b"authorization", f"Bearer {key}".encode()
