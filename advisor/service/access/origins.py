"""Pages of other origins: which may call the service (CORS, WHATWG Fetch), and which try to without being asked."""

from __future__ import annotations

import re
from collections.abc import Sequence

from advisor.errors import QuestionError

__all__ = ["EXPOSED", "Origins"]

Headers = list[tuple[bytes, bytes]]
METHODS = b"GET, HEAD, POST, PUT, PATCH, DELETE"
ASKED = (
    b"Accept, Authorization, Content-Type, Idempotency-Key, If-None-Match, Last-Event-ID, Traceparent, Tracestate, "
    b"X-Request-Id"
)
"""Headers that a page may send."""
EXPOSED = b"Cache-Status, ETag, Location, RateLimit, RateLimit-Policy, Retry-After, WWW-Authenticate, X-Request-Id"
"""Headers that a page may read."""
KEPT = b"600"
"""Seconds for which a browser may remember what was allowed."""
_ORIGIN = re.compile(r"https?://(\[[0-9a-f:.]+\]|[a-z0-9._-]+)(:[0-9]{1,5})?\Z")


class Origins:
    """The origins that may call. Errors: ``QuestionError`` for one that is none."""

    def __init__(self, given: Sequence[str]) -> None:
        for origin in given:
            if origin != "*" and not _ORIGIN.match(origin):
                raise QuestionError(
                    "value-invalid", f"`ADVISOR_CORS` has `{origin}`, which is no origin",
                    help="what a browser says, in small letters: `https://example.com`, `http://localhost:5173`; `*`",
                )  # fmt: skip
        self.all = "*" in given
        self.any = bool(given)
        self._known = frozenset(origin.encode("ascii") for origin in given)

    def allows(self, origin: bytes) -> bool:
        """Whether a page of that origin may call."""
        return self.all or origin in self._known

    def headers(self, origin: bytes | None) -> Headers:
        """What the answer to a page says. Without a key there is nothing that a browser would add by itself."""
        if self.all:
            return [(b"access-control-allow-origin", b"*"), (b"access-control-expose-headers", EXPOSED)]
        vary = [(b"vary", b"Origin")] if self.any else []
        if origin is None or origin not in self._known:
            return vary
        named = [(b"access-control-allow-origin", origin), (b"access-control-expose-headers", EXPOSED)]
        return [*named, *vary]

    def preflight(self, origin: bytes) -> Headers:
        """What a browser is told that asks on behalf of a page that may call."""
        return [
            *((name, value) for name, value in self.headers(origin) if name != b"access-control-expose-headers"),
            (b"access-control-allow-methods", METHODS), (b"access-control-allow-headers", ASKED),
            (b"access-control-max-age", KEPT), (b"content-length", b"0"),
        ]  # fmt: skip

    def strange(self, origin: bytes, host: bytes) -> bool:
        """Whether a page of another origin than the service's own calls, and may not."""
        own = origin.partition(b"://")[2]
        return (not own or own.lower() != host.lower()) and not self.allows(origin)
