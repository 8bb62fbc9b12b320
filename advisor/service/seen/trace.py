"""Trace context (W3C Trace Context, levels 1 and 2): the ids of a request that passes through several services.

What is passed through: the trace id, the caller's span and the flags go into every line of the log that belongs to the
request, also those of workers and jobs. There are no calls to other services that would have to carry them.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterable
from typing import NamedTuple

__all__ = ["Trace", "read_trace", "read_tracestate"]

_PARENT = re.compile(rb"([0-9a-f]{2})-([0-9a-f]{32})-([0-9a-f]{16})-([0-9a-f]{2})(-.*)?\Z", re.DOTALL)
_KEY = re.compile(r"(?:[a-z][a-z0-9_\-*/]{0,255}|[a-z0-9][a-z0-9_\-*/]{0,240}@[a-z][a-z0-9_\-*/]{0,13})\Z")
_VALUE = re.compile(r"[\x20-\x2b\x2d-\x3c\x3e-\x7e]{0,255}[\x21-\x2b\x2d-\x3c\x3e-\x7e]\Z")
MEMBERS = 32
KNOWN_FLAGS = 0b11
"""Sampled, and that the trace id is random (level 2); those of later levels are not passed on."""
RANDOM = 0b10


class Trace(NamedTuple):
    """Where a request stands in a trace: ids in hexadecimal, ``parent`` empty where a trace begins."""

    id: str
    parent: str
    span: str
    flags: int
    state: str = ""

    @property
    def header(self) -> str:
        """`traceparent` for a call made on behalf of the request."""
        return f"00-{self.id}-{self.span}-{self.flags:02x}"


def read_trace(parents: list[bytes], states: Iterable[bytes] = ()) -> Trace:
    """The trace that `traceparent` and `tracestate` tell; a new one where none, several, or a malformed one is."""
    found = _PARENT.match(parents[0].strip(b" \t")) if len(parents) == 1 else None
    # A later version may go on behind a dash; the first one has to end there. ff is no version.
    if found is None or found[1] == b"ff" or (found[1] == b"00" and found[5] is not None):
        return _fresh()
    trace, parent = found[2].decode(), found[3].decode()
    if not trace.strip("0") or not parent.strip("0"):
        return _fresh()
    return Trace(trace, parent, _id(8), int(found[4], 16) & KNOWN_FLAGS, read_tracestate(states) if states else "")


def _fresh() -> Trace:
    both = _id(24)
    return Trace(both[:32], "", both[32:], RANDOM)


def _id(octets: int) -> str:
    # Zeros alone would be invalid; they do not come by chance.
    return os.urandom(octets).hex()


def read_tracestate(headers: Iterable[bytes]) -> str:
    """The members of all `tracestate` headers in one line; empty when one is malformed or there are too many."""
    try:
        text = b",".join(headers).decode("ascii")
    except UnicodeDecodeError:
        return ""
    members = [member.strip(" \t") for member in text.split(",")]
    members = [member for member in members if member]
    keys = set()
    for member in members:
        key, equals, value = member.partition("=")
        if not equals or key in keys or not _KEY.match(key) or not _VALUE.match(value):
            return ""
        keys.add(key)
    return ",".join(members) if len(members) <= MEMBERS else ""
