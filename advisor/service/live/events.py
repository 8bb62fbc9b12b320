"""Events of a channel: where one stands in its history, how it is kept, and how it is sent.

An id is ``<epoch>-<n>``. ``n`` only ever grows within an epoch, over all channels; the epoch is new whenever the
history was lost, so an id from before never matches events that are others.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime
from functools import cached_property
from typing import Literal, NamedTuple

import msgspec

__all__ = ["HEARTBEAT", "Entry", "Frame", "Kind", "Mark", "Why", "cleared", "read_mark", "retry_line"]

Kind = Literal["advice", "clear"]
Why = Literal["cleared", "expired", "reset", "unanswerable"]
_MARK = re.compile(r"([0-9a-f]{12})-(0|[1-9][0-9]{0,14})")


class Mark(NamedTuple):
    """A place in the history."""

    epoch: str
    n: int

    def __str__(self) -> str:
        return f"{self.epoch}-{self.n}"

    def covers(self, other: Mark | None) -> bool:
        """Whether ``other`` is this place or one before it."""
        return other is not None and other.epoch == self.epoch and other.n <= self.n


def read_mark(text: str | None) -> Mark | None:
    """The place that an id names; None for anything that is no id of ours."""
    found = _MARK.fullmatch(text or "")
    return Mark(found[1], int(found[2])) if found else None


class Entry(NamedTuple):
    """One event as it is kept: ``at`` in milliseconds since 1970 UTC, ``payload`` a JSON object without line breaks."""

    mark: Mark
    at: int
    kind: Kind
    channel: str
    payload: bytes

    def packed(self) -> bytes:
        """One line of what it is, and the payload."""
        head = f"{self.mark.n} {self.mark.epoch} {self.at} {self.kind} {self.channel}\n"
        return head.encode("ascii") + self.payload

    @staticmethod
    def unpacked(data: bytes) -> Entry:
        """The entry that was packed."""
        head, _, payload = data.partition(b"\n")
        n, epoch, at, kind, channel = head.decode("ascii").split(" ")
        return Entry(Mark(epoch, int(n)), int(at), "advice" if kind == "advice" else "clear", channel, payload)

    def document(self) -> bytes:
        """The event as JSON: what was kept, with what it is in front."""
        moment = datetime.fromtimestamp(self.at / 1000, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
        head = f'{{"event":"{self.kind}","id":"{self.mark}","at":"{moment}","channel":"{self.channel}"'
        rest = self.payload[1:]
        return head.encode("ascii") + (b"," if rest != b"}" else b"") + rest


def cleared(why: Why) -> bytes:
    """What is kept of a clearing."""
    return msgspec.json.encode({"why": why})


class Frame:
    """One event as it goes out; made once for all subscribers."""

    def __init__(self, entry: Entry) -> None:
        self.mark = entry.mark
        self._kind = entry.kind
        self._document = entry.document()

    @cached_property
    def sse(self) -> bytes:
        """As a server-sent event (WHATWG HTML, 9.2.5)."""
        return b"id: %s\nevent: %s\ndata: %s\n\n" % (str(self.mark).encode(), self._kind.encode(), self._document)

    @cached_property
    def text(self) -> str:
        """As a message of a WebSocket."""
        return self._document.decode()


class _Heartbeat(Frame):
    """A sign of life: no event, and it has no id."""

    def __init__(self) -> None:
        self.mark = Mark("", 0)

    @cached_property
    def sse(self) -> bytes:
        """A comment."""
        return b": heartbeat\n\n"

    @cached_property
    def text(self) -> str:
        """A message that says what it is."""
        return '{"event":"heartbeat"}'


HEARTBEAT: Frame = _Heartbeat()


def retry_line(milliseconds: int) -> bytes:
    """How long to wait before connecting again."""
    return b"retry: %d\n\n" % milliseconds
