"""Which request something is done for: kept in the context, so that every line of the log can name it."""

from __future__ import annotations

import re
import secrets
from contextvars import ContextVar
from typing import NamedTuple

from advisor.service.seen.trace import Trace

__all__ = ["ABOUT", "About", "request_id"]

_SANE = re.compile(rb"[A-Za-z0-9._-]{1,128}\Z")


class About(NamedTuple):
    """A request: its id, its trace when that is of use, and the language that its answer is in."""

    id: str
    trace: Trace | None = None
    language: str = "en"


ABOUT: ContextVar[About | None] = ContextVar("advisor_about", default=None)
"""The request under way; None outside of requests."""


def request_id(given: bytes | None) -> str:
    """The id that the caller gave (`X-Request-Id`) when it is sane, else one of our own."""
    if given is not None and _SANE.match(given):
        return given.decode("ascii")
    return secrets.token_hex(8)
