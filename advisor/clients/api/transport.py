"""Where plans meet the HTTP library: settings of a connection, and what comes of it in the words of plans."""

from __future__ import annotations

from typing import Any

import httpx

from advisor.clients.api.calls import Call, Lost, Reply, Retries, path_of
from advisor.clients.api.errors import Unreachable

__all__ = ["connection", "events_path", "lost", "quiet_for", "reply", "request_of", "retries_of", "unreachable"]

CONNECT = 5.0
"""Most seconds to wait for a connection, however long the answer may take."""


def connection(base_url: str, key: str | None, timeout: float) -> dict[str, Any]:
    """The settings of a connection. Errors: ``ValueError`` for an address or key that cannot be one."""
    try:
        url = httpx.URL(base_url)
    except httpx.InvalidURL as error:
        raise ValueError(f"`{base_url}` is no address: {error}") from None
    if url.scheme not in ("http", "https") or not url.host:
        raise ValueError(f"`{base_url}` is no address of a service; it has to begin with `http://` or `https://`")
    headers = {"user-agent": "situation-advisor"}
    if key is not None:
        if not key or not key.isascii() or not key.isprintable() or " " in key:
            raise ValueError("the key has to be printable ASCII without spaces")
        headers["authorization"] = f"Bearer {key}"
    return {"base_url": url, "headers": headers, "timeout": httpx.Timeout(timeout, connect=min(timeout, CONNECT))}


def retries_of(given: int | Retries) -> Retries:
    """How to try again; a number is that of further tries."""
    return given if isinstance(given, Retries) else Retries(times=given)


def request_of(call: Call[Any]) -> dict[str, Any]:
    """The request of a call, as the HTTP library takes it."""
    return {
        "method": call.method, "url": call.path, "headers": call.headers, "content": call.body,
        "params": call.query or None,
    }  # fmt: skip


def reply(response: httpx.Response) -> Reply:
    """A response that was read to its end."""
    return Reply(response.status_code, response.headers, response.content)


def lost(error: httpx.RequestError, where: str) -> Lost:
    """A call that was not answered. After a timeout the next try would take as long again, so it is not made."""
    again = isinstance(error, httpx.NetworkError | httpx.RemoteProtocolError | httpx.ConnectTimeout)
    return Lost(unreachable(error, where), again)


def unreachable(error: httpx.RequestError, where: str) -> Unreachable:
    """The error for the caller, with the address."""
    timeout = isinstance(error, httpx.TimeoutException)
    reason = "it took longer than the timeout" if timeout else str(error) or type(error).__name__
    return Unreachable(f"no answer from `{where}`: {reason[:1].lower()}{reason[1:]}")


def events_path(channel: str) -> str:
    """The path of the events of a live channel."""
    return path_of("v1", "live", channel, "events")


def quiet_for(silence: float) -> httpx.Timeout:
    """The timeout of a stream that may be quiet for so many seconds before it counts as broken."""
    return httpx.Timeout(silence, connect=min(silence, CONNECT))
