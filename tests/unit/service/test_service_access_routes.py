"""The whole application with keys: what each route needs, what belongs to whom, signed states, the document."""

from __future__ import annotations

import json
import re
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from litestar import Litestar
from litestar.testing import TestClient

from advisor.errors import STATUS
from advisor.library import Library
from advisor.service.access.guard import NEEDS
from advisor.service.access.signatures import sign
from advisor.service.access.store import KeyStore
from advisor.service.app import Service, create_app
from advisor.service.contract import contract
from advisor.service.jobs.wire import JOB_EXAMPLE
from advisor.service.settings import Settings
from advisor.service.weighing.tasks import TASKS

SECRET = "a secret of ours"
STATE = {"question": {**TASKS["advice"].example, "responses": ["putty_jab"], "explain": "none"}}
SCOPES = ("read", "live", "notebook", "admin")


class Desk:
    """A service that wants keys, with one of each kind."""

    def __init__(self, client: TestClient[Service], keys: dict[str, str]) -> None:
        self.client, self.keys = client, keys

    def ask(self, method: str, path: str, key: str | None = None, **more: Any) -> Any:
        headers = {**({"authorization": f"Bearer {self.keys[key]}"} if key else {}), **more.pop("headers", {})}
        return self.client.request(method, path, headers=headers, **more)

    def signed(self, body: bytes, *, secret: str = SECRET, stamp: int | None = None, path: str = "/v1/live/a") -> Any:
        stamp = int(time.time()) if stamp is None else stamp
        headers = {
            "content-type": "application/json", "x-advisor-timestamp": str(stamp),
            "x-advisor-signature": f"v1={sign(secret, stamp, body)}",
        }  # fmt: skip
        return self.client.post(path, content=body, headers=headers)


@pytest.fixture(scope="module")
def desk(library: Library, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    url = f"sqlite:///{tmp_path_factory.mktemp('access') / 'store.sqlite'}"
    store = KeyStore(url)
    keys = {scope: store.add(scope, (scope,)).text for scope in SCOPES} | {"other": store.add("x", ("read",)).text}
    store.close()
    settings = Settings(workers=0, engine="plain", access="keys", notebook=url, webhook_secret=SECRET, rate=100_000)
    with TestClient(create_app(settings, library)) as client:
        yield Desk(client, keys)


def handlers(app: Litestar) -> list[tuple[str, str, Any]]:
    found = []
    for route in app.routes:
        several = getattr(route, "route_handlers", None) or [getattr(route, "route_handler", None)]
        for handler in several:
            methods = sorted(getattr(handler, "http_methods", {"WS"}))
            found += [(m, route.path, handler) for m in methods if m != "OPTIONS"]
    return found


def test_every_handler_says_what_it_needs(library: Library) -> None:
    key = "ab" * 32
    found = handlers(create_app(Settings(workers=0, discord_public_key=key), library))
    assert len(found) > 60
    silent = [(method, path) for method, path, handler in found if handler.opt.get("needs") not in NEEDS]
    assert not silent
    free = {path for _, path, handler in found if handler.opt["needs"] == "none"}
    assert free >= {"/v1/health/live", "/v1/health/ready", "/v1/openapi.json", "/desk", "/overlay"}
    assert not [path for path in free if re.match(r"/v1/(?!health/|openapi.json)", path)]
    assert not [(m, p) for m, p, h in found if m in ("PUT", "PATCH", "DELETE") and h.opt["needs"] == "read"
                and not p.startswith("/v1/jobs/")]  # fmt: skip


def test_a_route_lets_in_who_has_its_scope_and_nobody_else(desk: Desk) -> None:
    """All routes of the application, each with every key and with none."""
    told: dict[str, set[str]] = {}
    for method, path, handler in handlers(desk.client.app):
        needs = handler.opt["needs"]
        if method == "WS" or needs == "none" or path.endswith("/events") or path == "/v1/admin/reload":
            continue
        at = re.sub(r"\{[^}]*\}", "zz", path)
        for key in (None, *SCOPES):
            got = desk.ask(method, at, key)
            code = got.json().get("code") if "problem" in got.headers.get("content-type", "") else ""
            allowed = key in (needs, "admin")
            right = code not in ("key-needed", "scope-missing") if allowed else (
                code == ("key-needed" if key is None else "scope-missing"))
            assert right, (method, at, key, got.status_code, code)
            if not allowed:
                assert got.headers["www-authenticate"] == 'Bearer realm="advisor"' + (
                    f', error="insufficient_scope", scope="{needs}"' if key else "")
                told.setdefault(needs, set()).add(method)
    assert told.keys() == {"read", "live", "notebook", "admin"}


def test_reload_needs_an_administrator(desk: Desk) -> None:
    for key in (None, "read", "live", "notebook"):
        assert desk.ask("POST", "/v1/admin/reload", key).status_code == (403 if key else 401)


def test_what_is_not_there_and_what_needs_no_key_is_told_without_one(desk: Desk) -> None:
    for path, status in (("/v1/health/live", 200), ("/v1/openapi.json", 200), ("/desk", 200), ("/nowhere", 404)):
        got = desk.ask("GET", path)
        assert (got.status_code, got.headers["x-content-type-options"]) == (status, "nosniff")
        assert "frame-ancestors" in got.headers["content-security-policy"]
    assert desk.ask("OPTIONS", "/v1/admin/reload").status_code == 204
    head = desk.ask("HEAD", "/v1/packs")
    assert (head.status_code, head.content) == (401, b"")
    assert head.headers["www-authenticate"].startswith("Bearer")


def test_a_limited_caller_is_told_how_much_is_left(desk: Desk) -> None:
    got = desk.ask("GET", "/v1/packs", "read")
    assert got.headers["ratelimit-policy"] == '"key";q=100000;w=60'
    assert re.fullmatch(r'"key";r=\d+;t=\d+', got.headers["ratelimit"])


def test_jobs_belong_to_the_key_that_submitted_them(desk: Desk) -> None:
    body = {**JOB_EXAMPLE}
    id = desk.ask("POST", "/v1/jobs", "read", json=body).json()["id"]
    try:
        for key, sees in (("read", True), ("admin", True), ("other", False)):
            listed = [job["id"] for job in desk.ask("GET", "/v1/jobs", key).json()["jobs"]]
            assert (id in listed) is sees
            assert desk.ask("GET", f"/v1/jobs/{id}", key).status_code == (200 if sees else 404)
            answer = desk.ask("GET", f"/v1/jobs/{id}/answer", key)
            assert (answer.status_code == 404) is not sees
        unknown = desk.ask("DELETE", f"/v1/jobs/{'x' * 24}", "other").json()
        assert desk.ask("DELETE", f"/v1/jobs/{id}", "other").json() == unknown
        assert desk.ask("GET", f"/v1/jobs/{id}", "read").json()["state"] != "cancelled"
    finally:
        assert desk.ask("DELETE", f"/v1/jobs/{id}", "read").json()["state"] == "cancelled"


def test_a_signed_state_is_shown_once_and_a_forged_one_is_not_read(desk: Desk) -> None:
    body = json.dumps(STATE).encode()
    assert desk.ask("POST", "/v1/live/a", json=STATE).json()["code"] == "key-needed"
    now = int(time.time())
    done = desk.signed(body, stamp=now)
    assert done.status_code == 200, done.text
    assert desk.signed(body, stamp=now, path="/v1/live/b").status_code == 200, "the same state on another channel"
    for again in (desk.signed(body, stamp=now), desk.signed(body + b" ", secret="guess"),
                  desk.signed(b"{", secret="guess"), desk.signed(body, stamp=now - 400)):  # fmt: skip
        assert (again.status_code, again.json()["code"]) == (401, "signature-invalid")
        assert again.headers["www-authenticate"].startswith("Bearer")
    assert desk.signed(b"{").json()["code"] == "body-malformed"
    # It is good for showing states alone.
    headers = {"x-advisor-signature": f"v1={'0' * 64}", "x-advisor-timestamp": "1"}
    assert desk.ask("GET", "/v1/packs", headers=headers).status_code == 401
    assert desk.ask("DELETE", "/v1/live/a", headers=headers).json()["code"] == "key-needed"
    assert desk.ask("POST", "/v1/live/a", "live", json=STATE).status_code == 200
    assert desk.ask("POST", "/v1/live/a", "live", json=STATE, headers=headers).status_code == 401


def test_without_a_secret_a_signature_is_good_for_nothing(library: Library, tmp_path: Path) -> None:
    settings = Settings(workers=0, engine="plain", access="keys", notebook=f"sqlite:///{tmp_path / 'none.sqlite'}")
    with TestClient(create_app(settings, library)) as client:
        assert Desk(client, {}).signed(json.dumps(STATE).encode(), secret="").json()["code"] == "key-needed"


def test_a_stream_takes_the_key_in_its_address(desk: Desk) -> None:
    path = f"/v1/live/a/events?follow=no&key={desk.keys['read']}"
    assert desk.ask("GET", path).status_code == 200
    assert desk.ask("GET", path.replace(desk.keys["read"], desk.keys["live"])).json()["code"] == "scope-missing"
    assert desk.ask("GET", "/v1/live/a/events?follow=no").json()["code"] == "key-needed"


def test_a_socket_needs_its_scope_too(desk: Desk) -> None:
    for key, code in ((None, "key-needed"), ("live", "scope-missing")):
        query = f"?key={desk.keys[key]}" if key else ""
        with pytest.raises(Exception) as caught, desk.client.websocket_connect(f"/v1/live/a/socket{query}"):
            pass
        assert code in str(vars(caught.value)) or str(STATUS[code]) in str(vars(caught.value))
    with desk.client.websocket_connect(f"/v1/live/a/socket?key={desk.keys['read']}"):
        pass


def test_the_document_says_what_each_operation_needs(desk: Desk) -> None:
    document = contract()
    assert document["components"]["securitySchemes"].keys() == {"bearer", "address"}
    by_id = {getattr(h, "operation_id", None): h.opt["needs"] for _, _, h in handlers(desk.client.app)}
    for path, item in document["paths"].items():
        for operation in item.values():
            needs, given = by_id[operation["operationId"]], operation["responses"]
            stream = [{"address": [needs]}] if path.endswith("/events") else []
            assert operation["security"] == ([] if needs == "none" else [{}, {"bearer": [needs]}, *stream])
            assert "WWW-Authenticate" in given["401"]["headers"]
            assert ("403" in given) is (needs != "none")
            assert ("429" in given) is not path.startswith("/v1/health/")
            if "429" in given:
                assert given["429"]["headers"].keys() == {"Retry-After", "RateLimit", "RateLimit-Policy"}
                assert "RateLimit" in next(r for s, r in given.items() if s[0] == "2")["headers"]
