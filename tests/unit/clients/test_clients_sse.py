"""Server-sent events: the standard's own examples, any cut of the bytes, and going on after a break."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator
from itertools import islice
from typing import Any

import httpx
import pytest
from hypothesis import given
from hypothesis import strategies as st
from served import served

from advisor.clients.api import Advisor, AsyncAdvisor, Event, NotFound, Unavailable, Unreachable, UnreadableAnswer
from advisor.clients.api.sse import LONGEST_PAUSE, EventReader, Listening


def read(*pieces: bytes) -> list[Event]:
    reader = EventReader()
    return [event for piece in pieces for event in reader.feed(piece)]


@pytest.mark.parametrize(
    ("stream", "events"),
    [
        # WHATWG HTML, 9.2.1 and 9.2.6: the examples of the standard.
        (b"data: This is the first message.\n\ndata: This is the second message, it\ndata: has two lines.\n\n"
         b"data: This is the third message.\n\n",
         [("", "message", "This is the first message."),
          ("", "message", "This is the second message, it\nhas two lines."),
          ("", "message", "This is the third message.")]),
        (b"event: add\ndata: 73857293\n\nevent: remove\ndata: 2153\n\nevent: add\ndata: 113411\n\n",
         [("", "add", "73857293"), ("", "remove", "2153"), ("", "add", "113411")]),
        (b"data: YHOO\ndata: +2\ndata: 10\n\n", [("", "message", "YHOO\n+2\n10")]),
        (b": test stream\n\ndata: first event\nid: 1\n\ndata:second event\nid\n\ndata:  third event\n\n",
         [("1", "message", "first event"), ("", "message", "second event"), ("", "message", " third event")]),
        (b"data\n\ndata\ndata\n\ndata:", [("", "message", ""), ("", "message", "\n")]),
        (b"data:test\n\ndata: test\n\n", [("", "message", "test"), ("", "message", "test")]),
        # The rules around them.
        (b"\xef\xbb\xbfdata: a\r\rdata: b\r\n\r\n", [("", "message", "a"), ("", "message", "b")]),
        (b"id: 1\ndata: a\n\nid: 2\n\nid: 3\x00\ndata: b\n\n", [("1", "message", "a"), ("2", "message", "b")]),
        (b"event: lost\n\ndata: a\nother: x\nDATA: y\n\n", [("", "message", "a")]),
        (b"data: \xff\n\n", [("", "message", "\ufffd")]), (b"data: never ended\n", []),
    ],
)  # fmt: skip
def test_streams_read_as_the_standard_says(stream: bytes, events: list[tuple[str, str, str]]) -> None:
    assert read(stream) == [Event(*event) for event in events]
    assert read(*(stream[i : i + 1] for i in range(len(stream)))) == [Event(*event) for event in events]


def test_an_event_is_there_with_its_last_byte() -> None:
    reader = EventReader()
    assert [len(list(reader.feed(piece))) for piece in (b"data: a\r", b"\n\r", b"\ndata: b\r\r", b"\n")] == [0, 1, 1, 0]


FIELDS = st.sampled_from(
    [b"data", b"id", b"event", b"retry", b": x", b"data: a", b"data:\xc3\xa9", b"id: 7", b"\r", b"\n", b"\r\n"]
)


@given(st.lists(FIELDS, max_size=14), st.data())
def test_the_cut_of_the_bytes_does_not_matter(parts: list[bytes], draw: st.DataObject) -> None:
    stream = b"".join(parts)
    cut = draw.draw(st.integers(0, len(stream)))
    assert read(stream[:cut], stream[cut:]) == read(stream)


@pytest.mark.parametrize(("text", "seconds"), [(b"2500", 2.5), (b"0", 0.0), (b"1.5", None), (b"-1", None), (b"", None)])
def test_only_digits_say_when_to_come_back(text: bytes, seconds: float | None) -> None:
    reader = EventReader()
    assert list(reader.feed(b"retry: " + text + b"\n")) == []
    assert reader.retry == seconds


def test_vain_tries_are_spaced_and_a_word_brings_them_back() -> None:
    listening = Listening()
    assert [listening.lost(None) for _ in range(7)] == [1.0, 2.0, 4.0, 8.0, 16.0, LONGEST_PAUSE, LONGEST_PAUSE]
    assert list(listening.feed(b"retry: 50\n: still here\n")) == []
    assert listening.lost(None) == 0.05
    assert listening.refused(503, {"retry-after": "40"}, b"") == 40.0
    assert listening.refused(204, {}, b"") is None


def test_an_id_that_no_header_can_carry_is_not_sent() -> None:
    listening = Listening(last_id="caf\u00e9-1")
    assert (b"last-event-id", b"caf\xc3\xa9-1") in listening.headers()
    assert next(listening.feed(b"id: a\x07\ndata: b\n\n")).id == "a\x07"
    assert not any(name == b"last-event-id" for name, _ in listening.headers())


class Channel:
    """A live channel: each connection gets the next part of ``parts``; after the last it says 204, or breaks off."""

    def __init__(self, *parts: bytes | int) -> None:
        self.parts, self.seen = list(parts), []  # type: list[bytes | int], list[tuple[str, str | None]]

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        if scope["type"] != "http":
            return
        headers = dict(scope["headers"])
        self.seen.append((scope["raw_path"].decode(), headers.get(b"last-event-id", b"").decode() or None))
        part = self.parts.pop(0) if self.parts else 204
        status = part if isinstance(part, int) else 200
        kind = b"text/event-stream; charset=utf-8" if status == 200 else b"application/problem+json"
        more = [(b"retry-after", b"0")] if status == 503 else []
        await send({"type": "http.response.start", "status": status, "headers": [(b"content-type", kind), *more]})
        for piece in [part] if isinstance(part, bytes) else []:
            await send({"type": "http.response.body", "body": piece, "more_body": True})
        if not (isinstance(part, bytes) and part.endswith(b"!")):  # else the connection is cut off
            await send({"type": "http.response.body", "body": b""})


FIRST = b'retry: 5\n: hello\nid: 7\nevent: advice\ndata: {"limit": 1}\n\ndata: half an ev!'
SECOND = b'id: 8\nevent: advice\ndata: {"limit": 2}\n\n'
HEARD = [Event("7", "advice", '{"limit": 1}'), Event("8", "advice", '{"limit": 2}')]


def listened(channel: Channel, **given: Any) -> list[Event]:
    with served(channel) as url, Advisor(url) as advisor:
        return list(advisor.listen("stream one", **given))


def listened_async(channel: Channel, **given: Any) -> list[Event]:
    async def run(url: str) -> list[Event]:
        async with AsyncAdvisor(url) as advisor:
            return [event async for event in advisor.listen("stream one", **given)]

    with served(channel) as url:
        return asyncio.run(run(url))


@pytest.mark.parametrize("how", [listened, listened_async])
def test_a_listener_goes_on_after_the_last_id(how: Any) -> None:
    channel = Channel(FIRST, 503, SECOND)
    assert how(channel) == HEARD
    path = "/v1/live/stream%20one/events"
    assert channel.seen == [(path, None), (path, "7"), (path, "7"), (path, "8")]
    assert [event.json() for event in HEARD] == [{"limit": 1}, {"limit": 2}]


@pytest.mark.parametrize("how", [listened, listened_async])
def test_a_listener_gives_up_when_told(how: Any) -> None:
    channel = Channel(SECOND.replace(b"id", b"retry: 1\nid", 1), 503, 503, 503)
    with pytest.raises(Unavailable):
        how(channel, tries=3, last_id="6")
    assert [last for _, last in channel.seen] == ["6", "8", "8"]


@pytest.mark.parametrize(("status", "error"), [(404, NotFound), (200, UnreadableAnswer)])
def test_what_waiting_does_not_mend_ends_it(status: int, error: type[Exception]) -> None:
    answer = httpx.Response(status, json={})
    with Advisor("http://there", through=httpx.MockTransport(lambda _: answer)) as advisor, pytest.raises(error):
        next(advisor.listen("one"))


def test_nobody_there_is_tried_again() -> None:
    tried: list[int] = []

    def refuse(_: httpx.Request) -> httpx.Response:
        tried.append(1)
        if len(tried) == 1:
            return httpx.Response(200, headers={"content-type": "text/event-stream"}, content=b"retry: 1\ndata: a\n\n")
        raise httpx.ConnectError("refused")

    with Advisor("http://there", through=httpx.MockTransport(refuse)) as advisor:
        heard: Iterator[Event] = advisor.listen("one", tries=4)
        assert len(list(islice(heard, 1))) == 1
        with pytest.raises(Unreachable, match="refused"):
            next(heard)
    assert len(tried) == 4


def test_a_stream_that_falls_silent_is_asked_for_again() -> None:
    class Silent(Channel):
        async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
            if scope["type"] == "http" and len(self.seen) == 0:
                self.seen.append(("", None))
                kind = (b"content-type", b"text/event-stream")
                await send({"type": "http.response.start", "status": 200, "headers": [kind]})
                await send({"type": "http.response.body", "body": b"retry: 1\n\n", "more_body": True})
                await receive()  # the request's body
                await receive()  # the caller went away
                return
            await super().__call__(scope, receive, send)

    assert listened(Silent(SECOND), silence=0.1) == HEARD[1:]
