"""Live channels: states in, events out, what may be replayed, what is refused."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator
from typing import Any

import httpx
import msgspec
import pytest
from litestar.testing import TestClient
from live_streams import Got, blocks

from advisor.errors import AdvisorError
from advisor.library import Library
from advisor.sentences import speaking
from advisor.service.app import Service, create_app
from advisor.service.live.check import check_live
from advisor.service.live.events import Entry, Frame, Mark, read_mark
from advisor.service.live.hub import Hub
from advisor.service.live.submitting import recompute, submit
from advisor.service.live.subscriber import Subscriber
from advisor.service.live.wire import LiveAdvice, LiveClear
from advisor.service.settings import Settings
from advisor.service.weighing.tasks import TASKS
from advisor.service.weighing.work import JSON, Answer, Desk

Client = TestClient[Service]
QUESTION = TASKS["advice"].example
SHORT = {**QUESTION, "responses": ["putty_jab"], "explain": "none"}


@pytest.fixture
def live(library: Library) -> Iterator[Client]:
    with served(library) as client:
        yield client


def served(library: Library, **changed: Any) -> Client:
    return TestClient(create_app(Settings(workers=0, **changed), library))


def show(client: Client, channel: str = "stage", **more: Any) -> str:
    response = client.post(f"/v1/live/{channel}", json={"question": SHORT, **more})
    assert response.status_code == 200, response.text
    return str(response.json()["id"])


def stream(client: Client, channel: str = "stage", last: str | None = None) -> list[Got]:
    """What a stream begins with."""
    headers = {} if last is None else {"last-event-id": last}
    response = client.get(f"/v1/live/{channel}/events", params={"follow": "no"}, headers=headers)
    assert response.status_code == 200, response.text
    retry, *events = blocks(response.text)
    assert retry.retry >= 1000
    return events


def ids(events: list[Got]) -> list[str]:
    return [event.id for event in events]


def test_a_state_is_shown_with_its_advice_until_it_is_cleared(live: Client) -> None:
    assert live.get("/v1/live/stage").json()["code"] == "channel-empty"
    response = live.post("/v1/live/stage", json={"question": QUESTION, "note": "a\nb \u2028", "hold": 8})
    event = msgspec.json.decode(response.content, type=LiveAdvice)
    assert response.json()["advice"] == live.post("/v1/advice", json=QUESTION).json()
    assert response.json()["question"] == QUESTION
    assert (event.channel, event.note, event.hold) == ("stage", "a\nb \u2028", 8)
    assert live.get("/v1/live/stage").content == response.content
    (sent,) = stream(live)
    assert (sent.id, sent.event, sent.data) == (event.id, "advice", response.json())
    (listed,) = live.get("/v1/live").json()["channels"]
    assert listed == {"channel": "stage", "at": event.at, "subscribers": 0}
    cleared = msgspec.json.decode(live.delete("/v1/live/stage").content, type=LiveClear)
    assert cleared.why == "cleared"
    assert live.get("/v1/live/stage").status_code == live.delete("/v1/live/stage").status_code == 404
    assert live.get("/v1/live").json()["channels"] == stream(live) == []


def test_a_body_that_is_laid_out_over_lines_goes_out_on_one(live: Client) -> None:
    text = msgspec.json.format(msgspec.json.encode({"question": SHORT}), indent=2)
    live.post("/v1/live/stage", content=text, headers={"content-type": JSON}).raise_for_status()
    assert [event.data["question"] for event in stream(live)] == [SHORT]


@pytest.mark.parametrize(
    ("sent", "code", "pointer"),
    [
        ({}, "value-invalid", "/question"),
        ({"question": {**SHORT, "limit": 0}}, "value-invalid", "/question/limit"),
        ({"question": {**SHORT, "pack": "zz"}}, "pack-unknown", "/question/pack"),
        ({"question": {**SHORT, "replies": []}}, "question-impossible", "/question/replies"),
        ({"question": SHORT, "hold": 0}, "value-invalid", "/hold"),
        ({"question": SHORT, "hold": 1e300}, "value-invalid", "/hold"),
        ({"question": SHORT, "note": "x" * 201}, "value-invalid", "/note"),
        ({"question": SHORT, "nota": "x"}, "value-invalid", "/nota"),
        ([], "value-invalid", None),
    ],
)
def test_a_faulty_state_is_refused_and_changes_nothing(
    live: Client, sent: Any, code: str, pointer: str | None
) -> None:
    before = show(live)
    response = live.post("/v1/live/stage", json=sent)
    assert response.headers["content-type"] == "application/problem+json"
    assert (response.json()["code"], response.json().get("pointer")) == (code, pointer), response.text
    assert live.get("/v1/live/stage").json()["id"] == before


@pytest.mark.parametrize("body", [b"", b"{", b"\xff", b"[" * 5000, b'{"question": "\\ud800"}', b"null"])
def test_a_body_that_is_no_state_is_a_problem(live: Client, body: bytes) -> None:
    response = live.post("/v1/live/stage", content=body, headers={"content-type": JSON})
    assert (response.status_code, response.headers["content-type"]) == (400, "application/problem+json")


@pytest.mark.parametrize("name", ["A", "a.b", "a%20b", "%C3%A9", "a%0Ab", "a" * 65, "%2e%2e%5c", "a%00", "\u0663"])
def test_a_hostile_name_is_refused_everywhere(live: Client, name: str) -> None:
    path = f"/v1/live/{name}"
    asked = [
        live.get(path), live.delete(path), live.get(f"{path}/events"), live.post(path, json={"question": SHORT}),
    ]  # fmt: skip
    for response in asked:
        assert (response.status_code, response.json().get("parameter")) == (400, "channel"), response.text


def test_what_was_missed_is_replayed_and_only_that(library: Library) -> None:
    with served(library, channel_history=2) as live:
        first, other, second = show(live), show(live, "other"), show(live)
        assert ids(stream(live)) == [second]
        assert ids(stream(live, last=first)) == [second]
        assert stream(live, last=second) == []
        gone = live.delete("/v1/live/stage").json()["id"]
        assert [e.event for e in stream(live, last=first)] == ["advice", "clear"]
        assert ids(stream(live, last=second)) == [gone]
        fourth, fifth = show(live), show(live)
        assert ids(stream(live, last=gone)) == [fourth, fifth]
        # Two events can be replayed: before these, what counts now is all that can be said.
        assert ids(stream(live, last=first)) == [fifth]
        assert ids(stream(live, "other", last=first)) == [other]
        numbers = [read_mark(key) for key in (first, other, second, gone, fourth, fifth)]
        assert [mark.n for mark in numbers if mark] == [1, 2, 3, 4, 5, 6]


@pytest.mark.parametrize("last", ["zz", "1", "000000000000-1", "{epoch}-99", "{epoch}--1", "{epoch}-01", "x" * 4000])
def test_an_id_of_another_history_gets_what_counts_now(live: Client, last: str) -> None:
    show(live)
    current = show(live)
    last = last.format(epoch=current.partition("-")[0])
    assert ids(stream(live, last=last)) == [current]
    live.delete("/v1/live/stage")
    assert [event.event for event in stream(live, last=last)] == ["clear"], "whoever still shows something has to know"
    (reset,) = stream(live, "never-used", last=last)
    assert (reset.event, reset.data["why"]) == ("clear", "reset")


def test_a_second_start_has_another_history(library: Library) -> None:
    app = create_app(Settings(workers=0), library)
    with TestClient(app) as client:
        old = show(client)
    with TestClient(app) as client:
        new = show(client)
        assert old.endswith("-1") and new.endswith("-1") and old != new
        assert ids(stream(client, last=old)) == [new]


def test_a_state_that_nothing_followed_is_not_shown_for_ever(
    library: Library, monkeypatch: pytest.MonkeyPatch
) -> None:
    now = [1_000_000]
    monkeypatch.setattr("advisor.service.live.log._now", lambda: now[0])
    with served(library, channel_seconds=10) as live:
        first = show(live)
        now[0] += 9_999
        assert ids(stream(live)) == [first]
        now[0] += 1
        assert live.get("/v1/live/stage").json()["code"] == "channel-empty"
        (over,) = stream(live, last=first)
        assert (over.event, over.data["why"]) == ("clear", "expired")


def test_bounds_of_channels_and_subscribers(library: Library) -> None:
    with served(library, channels=2, subscribers=1) as live:
        show(live, "a"), show(live, "b")
        full = live.post("/v1/live/c", json={"question": SHORT})
        assert (full.status_code, full.json()["code"]) == (503, "channels-full")
        assert int(full.headers["retry-after"]) > 0
        show(live, "a")
        live.delete("/v1/live/a")
        show(live, "c")
        assert [c["channel"] for c in live.get("/v1/live").json()["channels"]] == ["b", "c"]
        page = live.get("/v1/live", params={"limit": 1}).json()
        assert (page["channels"][0]["channel"], page["next"]) == ("b", "b")
        rest = live.get("/v1/live", params={"limit": 1, "after": "b"}).json()
        assert (rest["channels"][0]["channel"], rest["next"]) == ("c", None)
        with live.websocket_connect("/v1/live/b/socket") as socket:
            assert socket.receive_json()["channel"] == "b"
            none: httpx.Response = live.get("/v1/live/b/events")
            assert (none.status_code, none.json()["code"]) == (503, "subscribers-full")
            assert int(none.headers["retry-after"]) > 0
        assert ids(stream(live, "b"))


@pytest.mark.parametrize(
    ("query", "parameter"),
    [({"follow": "maybe"}, "follow"), ({"zz": "1"}, "zz"), ({"last_event_id": "x" * 201}, "last_event_id")],
)
def test_a_faulty_query_of_a_stream_is_named(live: Client, query: dict[str, str], parameter: str) -> None:
    response = live.get("/v1/live/stage/events", params=query)
    assert (response.status_code, response.json()["parameter"]) == (400, parameter)


def test_a_stream_is_for_those_who_take_one(live: Client) -> None:
    refused = live.get("/v1/live/stage/events", headers={"accept": JSON})
    assert (refused.status_code, refused.json()["code"]) == (406, "not-acceptable")
    bare = live.head("/v1/live/stage/events")
    assert (bare.status_code, bare.content, bare.headers["cache-control"]) == (200, b"", "no-store")


class _FirstIsSlow(Desk):
    """A desk that takes long over the first question it gets."""

    async def ask(self, task: str, body: bytes, media_type: str = JSON) -> Answer:
        if b'"touching"' in body:
            await asyncio.sleep(0.05)
        return await super().ask(task, body, media_type)


def test_states_come_out_in_the_order_in_which_they_came_in(library: Library) -> None:
    async def both() -> list[Any]:
        hub, desk = Hub(Settings()), _FirstIsSlow(library)
        bodies = [msgspec.json.encode({"question": {**SHORT, "distance": d}}) for d in ("touching", 1)]
        return await asyncio.gather(*(submit(hub, desk, "stage", body) for body in bodies))

    slow, quick = asyncio.run(both())
    assert (slow.mark.n, quick.mark.n) == (1, 2)


def test_what_is_shown_is_weighed_again_when_packs_change(library: Library) -> None:
    shelf = library.shelves["cold_frame"]
    without = {key: one for key, one in shelf.pack.characters.items() if key != "wenna"}
    newer = msgspec.structs.replace(shelf.pack, version="9.9.9")

    def desk(pack: Any) -> Desk:
        return Desk(Library(shelves={"cold_frame": msgspec.structs.replace(shelf, pack=pack)}, default="cold_frame"))

    async def steps() -> None:
        hub = Hub(Settings())
        first = await submit(hub, Desk(library), "stage", msgspec.json.encode({"question": SHORT, "note": "n"}))
        assert isinstance(first, Entry)
        assert await recompute(hub, Desk(library)) == 0
        assert (await hub.current("stage")).mark == first.mark, "what stayed the same is not sent again"
        assert await recompute(hub, desk(newer)) == 1
        shown = msgspec.json.decode((await hub.current("stage")).document(), type=LiveAdvice)
        assert (shown.advice.pack.version, shown.note) == ("9.9.9", "n")
        assert await recompute(hub, desk(msgspec.structs.replace(newer, characters=without))) == 1
        with pytest.raises(AdvisorError, match="shows nothing now"):
            await hub.current("stage")

    asyncio.run(steps())


def test_a_state_keeps_the_language_that_it_was_shown_in(library: Library) -> None:
    with served(library) as client:
        client.post("/v1/live/stage", json={"question": SHORT}, headers={"accept-language": "de"}).raise_for_status()
        before = client.get("/v1/live/stage").json()
        assert before["language"] == "de" and "Schaden" in before["advice"]["summary"]
        got = client.get("/v1/live/stage", headers={"accept-language": "en"})
        assert got.headers["content-language"] == "de" and "vary" not in got.headers
        followed = client.get("/v1/live/stage/events", params={"follow": "no"})
        assert "content-language" not in followed.headers
        english = client.post("/v1/live/other", json={"question": SHORT}).json()
        assert english["language"] == "en" and english["advice"]["summary"] != before["advice"]["summary"]
        client.post("/v1/admin/reload").raise_for_status()
        assert client.get("/v1/live/stage").json() == before

    async def weighed_again() -> LiveAdvice:
        hub = Hub(Settings())
        with speaking("de"):
            await submit(hub, Desk(library), "stage", msgspec.json.encode({"question": SHORT}))
        shelf = library.shelves["cold_frame"]
        newer = msgspec.structs.replace(shelf, pack=msgspec.structs.replace(shelf.pack, version="9.9.9"))
        assert await recompute(hub, Desk(Library(shelves={"cold_frame": newer}, default="cold_frame"))) == 1
        return msgspec.json.decode((await hub.current("stage")).document(), type=LiveAdvice)

    again = asyncio.run(weighed_again())
    assert (again.language, again.advice.pack.version) == ("de", "9.9.9")
    assert again.advice.summary == before["advice"]["summary"]


def event(n: int) -> Entry:
    return Entry(Mark("0" * 12, n), 0, "advice", "stage", b"{}")


def test_what_comes_while_somebody_joins_is_sent_once() -> None:
    async def taken() -> list[int]:
        member = Subscriber("stage", 8)
        for n in (1, 2):
            member.put(Frame(event(n)))
        member.start((event(1),), event(1).mark)
        for n in (1, 3):
            member.put(Frame(event(n)))
        return [frame.mark.n for frame in await member.take()]

    assert asyncio.run(taken()) == [2, 3]


def test_an_event_that_was_not_delivered_comes_before_the_next() -> None:
    async def told() -> list[int]:
        hub = Hub(Settings())
        await hub.start()
        member = await hub.join("stage", None, known=False)
        got = []
        for deliver in (True, False, True):
            keeper: Any = hub._keeper
            backend, keeper._backend = keeper._backend, keeper._backend if deliver else None
            await hub.publish("stage", b'{"n":1}')
            keeper._backend = backend
            if deliver:
                got += [frame.mark.n for frame in await member.take()]
        got += [frame.mark.n for frame in ([] if len(got) == 3 else await member.take())]
        await hub.stop()
        return got

    assert asyncio.run(told()) == [1, 2, 3]


def test_several_servers_need_a_store_for_their_channels() -> None:
    check_live(Settings(servers=2, redis="redis://127.0.0.1/0"))
    with pytest.raises(AdvisorError, match="`ADVISOR_SERVERS` is `2` while `ADVISOR_REDIS` is not set") as refused:
        check_live(Settings(servers=2))
    assert "redis://" in refused.value.help
