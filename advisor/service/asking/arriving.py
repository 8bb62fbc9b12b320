"""What a request brings, read as the server hands it over: the framework's own ways cost as much as a kept answer."""

from __future__ import annotations

from typing import Any

from advisor.errors import AdvisorError

__all__ = ["body_of", "first_headers", "joined"]


def first_headers(scope: Any) -> dict[bytes, bytes]:
    """The headers by name; the first, where one is given more than once."""
    return dict(reversed(scope["headers"]))


def joined(scope: Any, name: bytes) -> str:
    """What a header that is a list says, all of its lines (RFC 9110, 5.3)."""
    return b", ".join(value for key, value in scope["headers"] if key == name).decode("latin-1")


async def body_of(receive: Any, most: int, said: bytes = b"") -> bytes:
    """The body of a request; ``said`` is its ``Content-Length``.

    Errors: ``AdvisorError`` ``body-too-large`` for one of more than ``most`` bytes, ``body-malformed`` when the caller
    goes away before it is whole.
    """
    # Who says that it will be too large need not send it.
    if said.isdigit() and int(said[:18]) > most:
        raise _too_large()
    message = await receive()
    parts: list[bytes] = [message.get("body", b"")]
    size = len(parts[0])
    while message.get("more_body", False) and size <= most:
        message = await receive()
        parts.append(message.get("body", b""))
        size += len(parts[-1])
    if message["type"] == "http.disconnect":
        raise AdvisorError("body-malformed", "the caller went away before the body was whole")
    if size > most:
        raise _too_large()
    return b"".join(parts)


def _too_large() -> AdvisorError:
    return AdvisorError("body-too-large", "the body is larger than the limit")
