"""Server-sent events, read as they come (WHATWG HTML, 9.2.6), and where to go on after a break."""

from __future__ import annotations

import codecs
import re
from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple, TypeVar, overload

import msgspec

from advisor.clients.api.calls import AGAIN
from advisor.clients.api.errors import ProblemError, Unreachable, UnreadableAnswer, problem_error

__all__ = ["EVENT_STREAM", "Event", "EventReader", "Listening"]

T = TypeVar("T")
EVENT_STREAM = "text/event-stream"
RECONNECT = 1.0
"""Seconds before a stream that ended is asked for again, until the service says otherwise."""
LONGEST_PAUSE = 30.0
"""Seconds to which pauses grow while every try is vain."""


class Event(NamedTuple):
    """One event: the last id that was sent, what kind of event, and its data as text."""

    id: str
    event: str
    data: str

    @overload
    def json(self) -> Any: ...
    @overload
    def json(self, kind: type[T]) -> T: ...

    def json(self, kind: Any = Any) -> Any:
        """The data read as JSON, of the type ``kind`` when it is given. Errors: ``msgspec.DecodeError``."""
        return msgspec.json.decode(self.data, type=kind)


class EventReader:
    """Takes the bytes of a stream in any pieces and gives the events that they complete.

    ``last_id`` is the id to send as ``Last-Event-ID``, ``retry`` the seconds that the stream said to wait before
    connecting again (None: not said). Both outlive a stream: ``restart`` begins the next one.
    """

    def __init__(self) -> None:
        self.last_id = ""
        self.retry: float | None = None
        self.restart()

    def restart(self) -> None:
        """Begin a new stream; an event that was not completed is lost, as the standard has it."""
        # A byte order mark at the very beginning is no part of the stream.
        self._decoder = codecs.getincrementaldecoder("utf-8-sig")(errors="replace")
        self._rest, self._after_return = "", False
        self._id, self._event = self.last_id, ""
        self._data: list[str] = []

    def feed(self, piece: bytes) -> Iterator[Event]:
        """The events that the piece completes."""
        text = self._decoder.decode(piece)
        if not text:
            return
        # The second half of a line's end that the last piece ended in.
        if self._after_return:
            text = text.removeprefix("\n")
        self._after_return = text.endswith("\r")
        *lines, self._rest = re.split(r"\r\n|\n|\r", self._rest + text)
        for line in lines:
            if line:
                self._field(line)
            elif (event := self._dispatched()) is not None:
                yield event

    def _field(self, line: str) -> None:
        name, _, value = line.partition(":")
        value = value.removeprefix(" ")
        if name == "data":
            self._data.append(value)
        elif name == "event":
            self._event = value
        elif name == "id" and "\0" not in value:
            self._id = value
        elif name == "retry" and value.isascii() and value.isdigit():
            self.retry = int(value[:9]) / 1000

    def _dispatched(self) -> Event | None:
        self.last_id = self._id
        event, data = self._event or "message", self._data
        self._event, self._data = "", []
        # A block without data is no event, though its id counts.
        return Event(self.last_id, event, "\n".join(data)) if data else None


class Listening:
    """What to do about one live channel: which headers to send, what to make of a response, how long to wait.

    ``tries`` is the number of vain tries in a row after which to give up; None: never.
    """

    def __init__(self, tries: int | None = None, last_id: str = "") -> None:
        self.reader = EventReader()
        self.reader.last_id = last_id
        self.tries = tries
        self._vain = 0

    def headers(self) -> list[tuple[bytes, bytes]]:
        """The headers of the next request; the reader begins a new stream."""
        self.reader.restart()
        sent = [(b"accept", EVENT_STREAM.encode()), (b"cache-control", b"no-store")]
        last = self.reader.last_id
        # An id may be any text, also such as no header can carry.
        return [*sent, (b"last-event-id", last.encode())] if last and last.isprintable() else sent

    def feed(self, piece: bytes) -> Iterator[Event]:
        """The events that a piece of the stream completes."""
        self._vain = 0
        return self.reader.feed(piece)

    def opened(self, status: int, media_type: str) -> bool:
        """Whether a response is a stream to read; False: its body says why not. Errors: ``UnreadableAnswer``."""
        if status != 200:
            return False
        kind = media_type.partition(";")[0].strip().lower()
        if kind != EVENT_STREAM:
            raise UnreadableAnswer(f"the channel was answered as `{kind}`, not as `{EVENT_STREAM}`")
        return True

    def refused(self, status: int, headers: Mapping[str, str], body: bytes) -> float | None:
        """Seconds after which to try again; None when the service has nothing more to tell (204).

        Errors: ``ProblemError`` for what will not get better by waiting.
        """
        if status == 204:
            return None
        if 200 <= status < 400:
            raise UnreadableAnswer(f"the channel was answered with status {status}")
        problem = problem_error(status, headers, body)
        if status not in AGAIN:
            raise problem
        return self.lost(problem, problem.retry_after)

    def lost(self, error: ProblemError | Unreachable | None, told: float | None = None) -> float:
        """Seconds after which to try again when the stream ended (``error`` None) or could not be had.

        Errors: ``error`` when that was the last try.
        """
        self._vain += 1
        if self.tries is not None and self._vain >= self.tries:
            raise error or Unreachable(f"the channel ended {self._vain} times without a word")
        base = self.reader.retry if self.reader.retry is not None else RECONNECT
        grown = min(base * 2.0 ** min(self._vain - 1, 30), max(LONGEST_PAUSE, base))
        return max(grown, told or 0.0)
