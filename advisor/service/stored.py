"""What servers share through Redis, each part with scripts of its own: the connection, the scripts, its absence."""

from __future__ import annotations

from importlib import resources
from urllib.parse import urlsplit

from redis.asyncio import Redis
from redis.asyncio.retry import Retry
from redis.backoff import NoBackoff

from advisor.errors import AdvisorError

__all__ = ["away", "connect", "script"]

PATIENCE = 2.0
"""Seconds to wait for Redis."""


def connect(address: str) -> Redis:
    """A client of the Redis at an address.

    Nothing is tried twice: what was asked, and whose answer was lost on the way, may have been done.
    """
    return Redis.from_url(
        address, socket_timeout=PATIENCE, socket_connect_timeout=PATIENCE, retry=Retry(NoBackoff(), 0),
        health_check_interval=0,
    )  # fmt: skip


def script(package: str, name: str) -> str:
    """The text of a script that lies in a package."""
    return (resources.files(package) / f"{name}.lua").read_text("utf-8")


def away(code: str, what: str, address: str) -> AdvisorError:
    """The error that the store of ``what`` does not answer; nothing secret of its address is told."""
    at = urlsplit(address)
    said = f"the store of the {what} at `{at.hostname or at.path}` does not answer"
    return AdvisorError(code, said, help="try again in a moment")
