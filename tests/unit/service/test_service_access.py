"""Who is let in: the layer as servers call it, with hostile headers, and what it costs."""

from __future__ import annotations

import asyncio
import logging
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from access_layer import ask, asked, bearer

from advisor.errors import QuestionError
from advisor.service.access.check import check_start
from advisor.service.access.keys import make_key
from advisor.service.access.known import FRESH, STALE
from advisor.service.access.layer import WRONG_KEYS, Access
from advisor.service.access.store import KeyStore, hour
from advisor.service.settings import Settings

FAR = ("203.0.113.9", 5)
OUTSIDE = (b"host", b"advisor.example.com")


@pytest.fixture
def url(tmp_path: Path) -> str:
    return f"sqlite:///{tmp_path / 'store.sqlite'}"


@pytest.fixture
def store(url: str) -> Iterator[KeyStore]:
    made = KeyStore(url)
    yield made
    made.close()


def gate(url: str, **changed: Any) -> Access:
    return Access(Settings(notebook=url, **{"access": "keys", **changed}))


def test_a_key_is_who_calls_and_is_kept_as_a_hash_only(url: str, store: KeyStore, tmp_path: Path) -> None:
    key = store.add("stage", ("live", "read"))
    found = asked(gate(url), headers=[bearer(key.text)])
    assert found.body == {"kind": "key", "id": key.record.id, "scopes": ["live", "read"]}
    secret = key.text.rpartition(f"{key.record.id}_")[2].encode()
    store.close()
    assert all(secret not in path.read_bytes() for path in tmp_path.iterdir())


@pytest.mark.parametrize("access", ["keys", "auto", "open"])
def test_a_wrong_key_is_refused_also_where_none_is_needed(url: str, store: KeyStore, access: str) -> None:
    id, secret = store.add("a", ("read",)).text.rsplit("_", 1)[0], make_key()[1].rpartition("_")[2]
    for wrong in (f"{id}_{secret}", make_key()[1], "sak_x", "", "\x00", "x" * 70_000):
        got = asked(gate(url, access=access), headers=[(b"authorization", b"bEARER " + wrong.encode())])
        assert (got.status, got.body["code"]) == (401, "key-invalid")
        assert got.headers["www-authenticate"].startswith('Bearer realm="advisor", error="invalid_token"')
        assert not wrong.strip("\x00") or wrong not in str(got.body)


@pytest.mark.parametrize("value", [b"Basic YTpi", b"\xff\xfe", b"", b"Bearers x", b"Digest " + b"x" * 60_000])
def test_what_is_no_bearer_counts_as_no_key(url: str, value: bytes) -> None:
    assert asked(gate(url), headers=[(b"authorization", value)]).body["kind"] == "anyone"


def test_more_than_one_key_is_refused(url: str, store: KeyStore) -> None:
    one = bearer(store.add("a", ("read",)).text)
    for headers, query in (([one, one], b""), ([one, (b"authorization", b"Basic x")], b""),
                           ([one], b"key=" + one[1][7:]), ([], b"key=a&key=b")):  # fmt: skip
        got = asked(gate(url), "/v1/live/a/events", headers, query_string=query)
        assert got.status == 400 and 'error="invalid_request"' in got.headers["www-authenticate"]


def test_a_key_in_the_address_is_taken_for_streams_alone_and_goes_no_further(url: str, store: KeyStore) -> None:
    key = store.add("overlay", ("read",)).text
    query = f"follow=no&key={key.replace('_', '%5F')}&last_event_id=1".encode()
    got = asked(gate(url), "/v1/live/a/events", query_string=query)
    assert (got.body["kind"], got.scope["query_string"]) == ("key", b"follow=no&last_event_id=1")
    for path in ("/v1/packs", "/v1/live/a", "/v1/live", "/events"):
        other = asked(gate(url), path, query_string=query)
        assert (other.body["kind"], other.scope["query_string"]) == ("anyone", query)


def test_an_expired_key_holds_no_more(url: str, store: KeyStore, monkeypatch: pytest.MonkeyPatch) -> None:
    key = store.add("short", ("read",), days=1)
    assert asked(gate(url), headers=[bearer(key.text)]).status == 200
    day = time.time() + 86_401
    monkeypatch.setattr(time, "time", lambda: day)
    got = asked(gate(url), headers=[bearer(key.text)])
    assert got.status == 401 and "expired at" in got.body["detail"]


class Clock:
    now = 0.0

    def __call__(self) -> float:
        return self.now


def counting(access: Access, monkeypatch: pytest.MonkeyPatch) -> tuple[list[str], Clock]:
    """Looks into the store, and the clock by which keys are known."""
    looks: list[str] = []
    clock, find = Clock(), KeyStore.find
    monkeypatch.setattr(access.keys, "_clock", clock)
    monkeypatch.setattr(KeyStore, "find", lambda self, id: looks.append(id) or find(self, id))
    return looks, clock


def test_a_key_is_looked_up_once_in_a_while_and_revoking_works_within_that(
    url: str, store: KeyStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    key = store.add("a", ("read",))
    access = gate(url)
    looks, clock = counting(access, monkeypatch)

    async def walk() -> list[int]:
        first = await asyncio.gather(*(ask(access, headers=[bearer(key.text)]) for _ in range(50)))
        store.revoke(key.record.id)
        clock.now += FRESH - 0.01
        within = await ask(access, headers=[bearer(key.text)])
        clock.now += 0.02
        after = await ask(access, headers=[bearer(key.text)])
        await access.close()
        return [len(looks), within.status, after.status, *{got.status for got in first}]

    assert asyncio.run(walk()) == [2, 200, 401, 200]


def test_the_last_use_is_kept_to_the_hour(url: str, store: KeyStore) -> None:
    key = store.add("a", ("read",))
    access = gate(url)

    async def use() -> None:
        await ask(access, headers=[bearer(key.text)])
        await access.close()

    asyncio.run(use())
    assert store.listed()[0].used == hour()
    assert store.listed()[0].used[14:] == "00Z"  # type: ignore[index]


def test_keys_hold_for_a_while_when_the_store_is_away(
    url: str, store: KeyStore, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    key, other = store.add("a", ("read",)), store.add("b", ("read",))
    access = gate(url)
    _, clock = counting(access, monkeypatch)

    def away(*_: object) -> None:
        raise OSError("no way to the store")

    async def walk() -> list[Any]:
        await ask(access, headers=[bearer(key.text)])
        monkeypatch.setattr(KeyStore, "find", away)
        clock.now += STALE - 1
        known = await ask(access, headers=[bearer(key.text)])
        unknown = await ask(access, headers=[bearer(other.text)])
        clock.now += 2
        late = await ask(access, headers=[bearer(key.text)])
        monkeypatch.undo()
        return [known.body["kind"], *((got.body["kind"], got.scope["advisor.pending"].code) for got in (unknown, late))]

    with caplog.at_level(logging.ERROR, "advisor.service"):
        gone = ("anyone", "keys-unavailable")
        assert asyncio.run(walk()) == ["key", gone, gone]
    assert [r.message for r in caplog.records] == ["the store of the keys does not answer: no way to the store"]


def test_a_slow_store_does_not_hold_up_others(url: str, store: KeyStore, monkeypatch: pytest.MonkeyPatch) -> None:
    from advisor.service.access import known

    key = store.add("a", ("read",))
    access = gate(url)
    monkeypatch.setattr(known, "PATIENCE", 0.2)
    monkeypatch.setattr(KeyStore, "find", lambda *_: time.sleep(0.5))

    async def walk() -> tuple[float, str]:
        slow = asyncio.ensure_future(ask(access, headers=[bearer(key.text)]))
        await asyncio.sleep(0.01)
        began = time.monotonic()
        await ask(access)
        took = time.monotonic() - began
        return took, (await slow).scope["advisor.pending"].code

    took, code = asyncio.run(walk())
    assert took < 0.1 and code == "keys-unavailable"


def test_without_a_key_the_service_is_open_to_this_machine_alone() -> None:
    access = Access(Settings())
    assert asked(access).body["kind"] == "open"
    assert asked(access, client=None).body["kind"] == "open"
    assert asked(access, client=FAR).body["kind"] == "anyone"
    # A page whose name was pointed here, or a proxy on this machine that nobody told us of.
    got = asked(access, headers=[OUTSIDE])
    assert got.body["kind"] == "anyone" and "this machine only" in got.scope["advisor.caller"].why
    assert asked(Access(Settings(access="open")), headers=[OUTSIDE], client=FAR).body["kind"] == "open"
    believed = Access(Settings(proxies=("127.0.0.1",)))
    assert asked(believed, headers=[(b"x-forwarded-for", b"203.0.113.9")]).body["kind"] == "anyone"
    assert asked(believed, headers=[(b"x-forwarded-for", b"127.0.0.1, 203.0.113.9")]).body["kind"] == "anyone"
    assert asked(believed, headers=[(b"x-forwarded-for", b"127.0.0.1")]).body["kind"] == "open"
    assert asked(access, headers=[(b"x-forwarded-for", b"127.0.0.1")]).body["kind"] == "anyone"


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.168.0.7", "advisor.example.com"])
def test_other_addresses_need_keys_and_do_not_start_without_one(url: str, store: KeyStore, host: str) -> None:
    settings = Settings(host=host, notebook=url)
    assert asked(Access(settings)).body["kind"] == "anyone"
    with pytest.raises(QuestionError, match=f"`{host}` can be reached") as caught:
        check_start(settings)
    assert "advisor keys add" in caught.value.help and "ADVISOR_ACCESS=open" in caught.value.help
    store.revoke(store.add("gone", ("read",)).record.id)
    with pytest.raises(QuestionError):
        check_start(settings)
    store.add("good", ("read",))
    check_start(settings)


def test_what_starts_without_a_key(url: str) -> None:
    for settings in (Settings(notebook=url), Settings(host="::1", notebook=url),
                     Settings(host="0.0.0.0", access="open", notebook=url),
                     Settings(host="0.0.0.0", public_read="yes", notebook=url)):  # fmt: skip
        check_start(settings)
    with pytest.raises(QuestionError, match="`ADVISOR_ACCESS` is `keys`"):
        check_start(Settings(access="keys", notebook=url))
    with pytest.raises(QuestionError, match="ADVISOR_PROXIES"):
        check_start(Settings(proxies=("x",)))


def test_public_reading_is_reading() -> None:
    access = Access(Settings(access="keys", public_read="yes"))
    assert asked(access, client=FAR).body == {"kind": "anyone", "id": None, "scopes": ["read"]}


def test_a_page_of_another_origin_cannot_act_through_a_visitor() -> None:
    access, listed = Access(Settings()), Access(Settings(cors=("https://a.example",)))
    own, other = (b"origin", b"http://127.0.0.1:8345"), (b"origin", b"https://a.example")
    for method in ("POST", "DELETE", "PUT"):
        assert asked(access, headers=[own], method=method).status == 200
        assert asked(access, method=method).status == 200
        for strange in (other[1], b"null", b"", b"http://127.0.0.1:8346", b"http://[", b"\xff"):
            got = asked(access, headers=[(b"origin", strange)], method=method)
            assert (got.status, got.body["code"]) == (403, "origin-refused")
        assert asked(listed, headers=[other], method=method).status == 200
    assert asked(access, headers=[other]).status == 200
    # The name by which a proxy was called counts when the proxy is believed.
    called = [other, (b"x-forwarded-host", b"a.example")]
    believed = Access(Settings(access="open", proxies=("127.0.0.1",)))
    assert asked(believed, headers=called, method="POST").status == 200
    assert asked(Access(Settings(access="open")), headers=called, method="POST").status == 403


def test_who_may_be_called_by_pages() -> None:
    listed, everyone = Access(Settings(cors=("https://a.example",))), Access(Settings(cors=("*",)))
    asks = [(b"access-control-request-method", b"POST"), (b"access-control-request-headers", b"authorization")]
    for access, allowed in ((listed, "https://a.example"), (everyone, "*")):
        headers = [(b"origin", b"https://a.example")]
        plain = asked(access, headers=headers)
        assert plain.headers["access-control-allow-origin"] == allowed
        assert {"ETag", "RateLimit", "Location", "Retry-After", "X-Request-Id"} <= set(
            plain.headers["access-control-expose-headers"].split(", ")
        )
        before = asked(access, headers=[*headers, *asks], method="OPTIONS")
        assert before.status == 204 and "Authorization" in before.headers["access-control-allow-headers"]
        assert "access-control-allow-credentials" not in {**plain.headers, **before.headers}
        wrong = asked(access, headers=[*headers, bearer("x")])
        assert (wrong.status, wrong.headers["access-control-allow-origin"]) == (401, allowed)
    assert asked(listed).headers["vary"] == "Origin"
    strange = asked(listed, headers=[(b"origin", b"https://b.example"), *asks], method="OPTIONS")
    assert not [name for name in strange.headers if name.startswith("access-control")]
    assert "vary" not in asked(Access(Settings()), headers=[(b"origin", b"https://b.example")]).headers


def test_every_answer_tells_browsers_what_not_to_do() -> None:
    got = asked(Access(Settings())).headers
    assert {k: v for k, v in got.items() if k != "content-type"} == {
        "x-content-type-options": "nosniff", "referrer-policy": "no-referrer",
        "cross-origin-resource-policy": "same-origin",
        "content-security-policy": "default-src 'none'; frame-ancestors 'none'",
    }  # fmt: skip
    assert asked(Access(Settings(cors=("*",)))).headers["cross-origin-resource-policy"] == "cross-origin"

    async def page(scope: Any, receive: Any, send: Any) -> None:
        headers = [(b"content-security-policy", b"script-src 'self'"), (b"content-type", b"text/html")]
        await send({"type": "http.response.start", "status": 200, "headers": headers})
        await send({"type": "http.response.body", "body": b""})

    assert asked(Access(Settings()), app=page).headers["content-security-policy"] == "script-src 'self'"


def test_https_is_remembered_only_where_it_was_used() -> None:
    told, name = [(b"x-forwarded-proto", b"https")], "strict-transport-security"
    assert name not in asked(Access(Settings()), headers=told).headers
    believed = Access(Settings(proxies=("127.0.0.1",)))
    assert asked(believed, headers=told).headers[name] == "max-age=31536000"
    assert name not in asked(believed, headers=[(b"x-forwarded-proto", b"https, http")]).headers
    assert name in asked(Access(Settings()), scheme="https").headers


def test_rates_are_counted_by_key_and_by_address(url: str, store: KeyStore) -> None:
    access = gate(url, rate=3, rate_address=2, public_read="yes")
    keys = [bearer(store.add(name, ("read",)).text) for name in "ab"]

    async def walk() -> list[Any]:
        out: list[Any] = []
        for headers, client in (([keys[0]], FAR), ([keys[1]], FAR), ([], FAR), ([], ("203.0.113.10", 1))):
            got = [await ask(access, headers=headers, client=client) for _ in range(4)]
            out.append([one.status for one in got])
        last = got[-1]
        out.append([last.body["code"], last.headers["retry-after"], last.headers["ratelimit"],
                    last.headers["ratelimit-policy"]])  # fmt: skip
        out.append((await ask(access, headers=[keys[0]])).headers["ratelimit"])
        for path in ("/v1/health/live", "/v1/health/ready", "/metrics"):
            free = await ask(access, path, client=FAR)
            out.append((free.status, "ratelimit" in free.headers))
        # This machine is not counted; a proxy's word for it is not taken.
        out.append({(await ask(access)).status for _ in range(9)})
        out.append((await ask(access, headers=[(b"x-forwarded-for", b"127.0.0.1")], client=FAR)).status)
        return out

    by_key = [200, 200, 200, 429]
    assert asyncio.run(walk()) == [
        by_key, by_key, [200, 200, 429, 429], [200, 200, 429, 429],
        ["rate-exceeded", "30", '"address";r=0;t=60', '"address";q=2;w=60'], '"key";r=0;t=60',
        *[(200, False)] * 3, {200}, 429,
    ]  # fmt: skip
    assert access.refusals == 8


def test_trying_keys_does_not_reach_the_store_for_long(
    url: str, store: KeyStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    good = store.add("a", ("read",))
    access = gate(url, rate_address=0)
    looks, _ = counting(access, monkeypatch)

    async def walk() -> list[int]:
        first = await ask(access, headers=[bearer(good.text)], client=FAR)
        tried = [(await ask(access, headers=[bearer(make_key()[1])], client=FAR)).status for _ in range(WRONG_KEYS + 9)]
        known = await ask(access, headers=[bearer(good.text)], client=FAR)
        elsewhere = await ask(access, headers=[bearer(make_key()[1])], client=("203.0.113.10", 1))
        return [first.status, tried.count(401), tried.count(429), known.status, elsewhere.status]

    assert asyncio.run(walk()) == [200, WRONG_KEYS, 9, 200, 401]
    assert len(looks) == WRONG_KEYS + 2


def test_a_socket_is_refused_with_the_problem(url: str) -> None:
    sent: list[Any] = []

    async def send(message: Any) -> None:
        sent.append(message)

    scope = {
        "type": "websocket", "path": "/v1/live/a/socket", "query_string": b"key=wrong", "client": FAR, "headers": [],
        "extensions": {"websocket.http.response": {}},
    }  # fmt: skip
    asyncio.run(gate(url).around(None)(scope, None, send))
    assert (sent[0]["type"], sent[0]["status"]) == ("websocket.http.response.start", 401)
    del scope["extensions"], sent[:]
    scope["query_string"] = b"key=wrong"
    asyncio.run(gate(url).around(None)(scope, None, send))
    assert sent == [{"type": "websocket.close", "code": 4401, "reason": "key-invalid"}]
