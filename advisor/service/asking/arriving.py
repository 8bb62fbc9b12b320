"""What a request brings, read as the server hands it over: the framework's own ways cost as much as a kept answer."""

from __future__ import annotations

from typing import Any

from advisor.errors import AdvisorError

__all__ = ["body_of", "first_headers"]


def first_headers(scope: Any) -> dict[bytes, bytes]:
    """The headers by name; the first, where one is given more than once."""
    return dict(reversed(scope["headers"]))


async def body_of(scope: Any, receive: Any, most: int) -> bytes:
    """The body of a request.

    Errors: ``AdvisorError`` ``body-too-large`` for one of more than ``most`` bytes, ``body-malformed`` when the caller
    goes away before it is whole.
    """
    message = await receive()
    body: bytes = message.get("body", b"")
    if message.get("more_body", False):
        # Who says that it will be too large need not send it all.
        said = first_headers(scope).get(b"content-length", b"")[:18]
        if said.isdigit() and int(said) > most:
            raise _too_large()
        parts, size = [body], len(body)
        while message.get("more_body", False) and size <= most:
            message = await receive()
            parts.append(message.get("body", b""))
            size += len(parts[-1])
        body = b"".join(parts)
    if message["type"] == "http.disconnect":
        raise AdvisorError("body-malformed", "the caller went away before the body was whole")
    if len(body) > most:
        raise _too_large()
    return body


def _too_large() -> AdvisorError:
    return AdvisorError("body-too-large", "the body is larger than the limit")
