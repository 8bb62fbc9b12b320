"""Entity tags and what others may keep of an answer (RFC 9110, 8.8.3 and 13.1.2; RFC 9111)."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any, TypeVar

from litestar import Request, Response

from advisor.service.asking.arriving import joined
from advisor.service.running.served import Served
from advisor.service.weighing.identity import etag_of

__all__ = ["HEADERS", "NOT_MODIFIED", "any_named", "keeping", "named", "stated", "unchanged"]

T = TypeVar("T")
_TAG = re.compile(r'(?:W/)?("[\x21\x23-\x7e\x80-\xff]*")')
NOT_MODIFIED = "What the caller has is still right."
HEADERS = {
    "ETag": ("Names this very answer; send it back as `If-None-Match`.", "string"),
    "Cache-Control": ("How long the answer may be kept, and by whom: `private` when it was got with a key.", "string"),
    "Vary": ("What else the answer hangs on.", "string"),
}


def _given(request: Request[Any, Any, Any]) -> str:
    return joined(request.scope, b"if-none-match")


def named(request: Request[Any, Any, Any], etag: str) -> bool:
    """Whether ``If-None-Match`` lists the tag; compared weakly, as it has to be."""
    given = _given(request)
    return bool(given) and etag in _TAG.findall(given)


def any_named(request: Request[Any, Any, Any]) -> bool:
    """Whether ``If-None-Match`` is met by whatever there is."""
    return _given(request).strip() == "*"


def keeping(request: Request[Any, Any, Any], etag: str, seconds: int) -> dict[str, str]:
    """The headers of an answer that may be kept ``seconds``; what was got with a key is for who has the key."""
    whose = "private" if any(k == b"authorization" for k, _ in request.scope["headers"]) else "public"
    return {"ETag": etag, "Cache-Control": f"{whose}, max-age={seconds}", "Vary": "Accept"}


def unchanged(headers: dict[str, str]) -> Response[Any]:
    """The answer to a caller who has it already."""
    return Response(None, status_code=304, headers=headers)


def stated(request: Request[Any, Any, Any], served: Served, make: Callable[[], T]) -> Response[T]:
    """What ``make`` gives, with a tag that hangs on the data and the address alone; not made when the caller has it.

    Errors: those of ``make``.
    """
    path, query = request.scope["path"], request.scope["query_string"].decode("latin-1")
    etag = etag_of(served.desk.data, path, query)
    headers = keeping(request, etag, served.holding.settings.cache_seconds)
    if named(request, etag):
        return unchanged(headers)
    found = make()
    return unchanged(headers) if any_named(request) else Response(found, headers=headers)
