"""Bodies that do not arrive, and the language of answers: what lies around the routes."""

from __future__ import annotations

import asyncio
import json
from typing import Any

import pytest
from litestar.testing import TestClient
from test_service_bodies import question

from advisor.library import Library
from advisor.service.app import Service, create_app
from advisor.service.settings import Settings


async def _half(app: Service) -> tuple[int, dict[str, Any]]:
    """The answer to a request whose body stops after some bytes."""
    sent = [{"type": "http.request", "body": b'{"me": ', "more_body": True}]
    told: list[Any] = []

    async def receive() -> Any:
        return sent.pop() if sent else await asyncio.Event().wait()

    async def send(message: Any) -> None:
        told.append(message)

    headers = [(b"host", b"localhost"), (b"content-type", b"application/json"), (b"content-length", b"900")]
    scope = {
        "type": "http", "method": "POST", "path": "/v1/advice", "raw_path": b"/v1/advice", "query_string": b"",
        "headers": headers, "client": ("127.0.0.1", 1), "server": ("localhost", 80), "scheme": "http",
        "http_version": "1.1", "asgi": {"version": "3.0"}, "root_path": "", "extensions": {}, "state": {},
    }  # fmt: skip
    await app(scope, receive, send)
    return told[0]["status"], json.loads(told[1]["body"]), dict(told[0]["headers"])


def test_a_body_that_does_not_arrive_is_not_waited_for(library: Library) -> None:
    app = create_app(Settings(workers=0, engine="plain", body_seconds=1), library)
    status, problem, headers = asyncio.run(asyncio.wait_for(_half(app), 5))
    assert (status, problem["code"]) == (408, "body-slow")
    assert headers[b"connection"] == b"close", "the rest of the body may still come"
    assert "1 second" in problem["detail"]


@pytest.mark.parametrize(
    ("wish", "language"),
    [(None, "en"), ("de", "de"), ("de-AT, en;q=0.5", "de"), ("xx, en;q=0.1", "en"), (";q=,", "en")],
)
def test_answers_are_in_the_language_that_is_wished(
    client: TestClient[Service], wish: str | None, language: str
) -> None:
    headers = {} if wish is None else {"accept-language": wish}
    response = client.post("/v1/advice", json=question(), headers=headers)
    assert response.headers["content-language"] == language
    assert "accept-language" in response.headers["vary"].lower()
    summary = response.json()["summary"]
    assert ("guaranteed" in summary, "garantiert" in summary) == (language == "en", language == "de")


def test_problems_are_in_english(client: TestClient[Service]) -> None:
    response = client.post("/v1/advice", json={}, headers={"accept-language": "de"})
    assert response.json()["detail"] == "`me` is missing"


def test_another_language_is_another_entity(client: TestClient[Service]) -> None:
    asked = {"question": json.dumps(question())}
    tags = {
        language: client.get("/v1/advice", params=asked, headers={"accept-language": language}).headers["etag"]
        for language in ("en", "de")
    }
    assert tags["en"] != tags["de"]
    again = client.get(
        "/v1/advice", params=asked, headers={"accept-language": "de", "if-none-match": tags["en"]}
    )
    assert again.status_code == 200 and "garantiert" in again.json()["summary"]


def test_what_has_not_changed_hangs_on_the_language_too(client: TestClient[Service]) -> None:
    """RFC 9110, 15.4.5: a 304 has the `Vary` of the whole answer."""
    for path in ("/v1/advice", "/desk", "/v1/packs"):
        asked = {"question": json.dumps(question())} if path == "/v1/advice" else {}
        whole = client.get(path, params=asked, headers={"accept-language": "de"})
        again = client.get(
            path, params=asked, headers={"accept-language": "de", "if-none-match": whole.headers["etag"]}
        )
        assert again.status_code == 304
        for name in ("vary", "content-language"):
            assert again.headers.get_list(name) == whole.headers.get_list(name) != []
