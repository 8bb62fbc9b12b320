"""The protocol around the routes: media types, sizes, methods, unknown addresses, HEAD and OPTIONS."""

from __future__ import annotations

import asyncio
import json
from typing import Any

import pytest
from litestar.testing import TestClient

from advisor.library import Library
from advisor.service.app import Service, create_app
from advisor.service.settings import Settings
from advisor.service.weighing.tasks import TASKS

Client = TestClient[Service]
PROBLEM = "application/problem+json"
LISTS = ("/v1/packs", "/v1/packs/cold_frame", "/v1/packs/cold_frame/characters", "/v1/health/live", "/v1/openapi.json")


@pytest.mark.parametrize(
    ("given", "detail", "help"),
    [
        (None, "the body's type is not stated", "send `content-type: application/json`"),
        ("text/plain", "the body is said to be `text/plain`", "send `content-type: application/json`"),
        ("application/x-www-form-urlencoded", "the body is said to be `application/x-www-form-urlencoded`",
         "send `content-type: application/json`"),
        ("application/json; charset=latin-1", "the body is said to be in `latin-1`", "send UTF-8"),
        (";;", "the body's type is not stated", "send `content-type: application/json`"),
    ],
)  # fmt: skip
def test_another_media_type_is_refused(client: Client, given: str | None, detail: str, help: str) -> None:
    headers = {} if given is None else {"content-type": given}
    response = client.post("/v1/advice", content=b"{}", headers=headers)
    assert (response.status_code, response.headers["content-type"]) == (415, PROBLEM)
    assert (response.json()["detail"], response.json()["help"]) == (detail, help)


@pytest.mark.parametrize("given", ["application/json", "Application/JSON", 'application/json; charset="UTF-8"'])
def test_json_however_it_is_spelt_is_read(client: Client, given: str) -> None:
    response = client.post("/v1/advice", content=b"[]", headers={"content-type": given})
    assert response.json()["code"] == "value-invalid"


def test_a_body_just_within_the_limit_is_read(client: Client) -> None:
    body = b"[]" + b" " * (65_536 - 2)
    response = client.post("/v1/advice", content=body, headers={"content-type": "application/json"})
    assert response.json()["code"] == "value-invalid"


@pytest.mark.parametrize("chunked", [False, True])
def test_a_body_over_the_limit_is_refused(client: Client, chunked: bool) -> None:
    pieces = [b"[]", *[b" " * 1000] * 66]
    content = iter(pieces) if chunked else b"".join(pieces)
    response = client.post("/v1/advice", content=content, headers={"content-type": "application/json"})
    assert ("content-length" in response.request.headers) != chunked
    assert (response.status_code, response.headers["content-type"]) == (413, PROBLEM)
    assert response.json()["code"] == "body-too-large"


@pytest.mark.parametrize("path", ["/v1", "/v1/pack", "/v1/packs/a/b", "/v2/packs", "/v1/-", "/schema", "/docs"])
def test_nothing_else_is_served(client: Client, path: str) -> None:
    response = client.get(path)
    assert (response.status_code, response.headers["content-type"]) == (404, PROBLEM)
    assert response.json()["code"] == "not-found"
    assert response.json()["detail"] == f"nothing is at `{path}`"


@pytest.mark.parametrize(
    ("method", "path", "allow"),
    [
        ("PATCH", "/v1/advice", "GET, HEAD, OPTIONS, POST"),
        ("PUT", "/v1/advice", "GET, HEAD, OPTIONS, POST"),
        ("POST", "/v1/packs", "GET, HEAD, OPTIONS"),
        ("DELETE", "/v1/packs/cold_frame", "GET, HEAD, OPTIONS"),
        ("TRACE", "/v1/health/live", "GET, HEAD, OPTIONS"),
        ("BREW", "/v1/health/live", "GET, HEAD, OPTIONS"),
    ],
)
def test_a_method_that_is_not_offered(client: Client, method: str, path: str, allow: str) -> None:
    response = client.request(method, path)
    assert (response.status_code, response.headers["content-type"]) == (405, PROBLEM)
    assert response.headers["allow"] == allow
    if method != "HEAD":
        assert response.json()["detail"] == f"`{method}` is not offered at `{path}`"


@pytest.mark.parametrize("path", LISTS)
def test_head_is_get_without_the_body(client: Client, path: str) -> None:
    named = {"x-request-id": "one"}
    got, head = client.get(path, headers=named), client.head(path, headers=named)
    assert head.status_code == got.status_code == 200
    assert head.headers == got.headers
    assert (head.content, int(head.headers["content-length"])) == (b"", len(got.content))


@pytest.mark.parametrize(("path", "status"), [("/v1/packs", 200), ("/v1/packs/zz", 404), ("/v1/advice", 400)])
def test_the_application_itself_sends_no_body_to_head(library: Library, path: str, status: int) -> None:
    """A client would drop a body by itself, so this looks at what the application hands to the server."""
    sent: list[Any] = []

    async def receive() -> dict[str, Any]:
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message: Any) -> None:
        sent.append(message)

    scope = {
        "type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "method": "HEAD", "scheme": "http",
        "path": path, "raw_path": path.encode(), "root_path": "", "query_string": b"",
        "headers": [(b"host", b"localhost")],
        "client": ("127.0.0.1", 1), "server": ("127.0.0.1", 2), "state": {},
    }  # fmt: skip
    asyncio.run(create_app(Settings(workers=0), library)(scope, receive, send))
    assert sent[0]["status"] == status
    assert int(dict(sent[0]["headers"])[b"content-length"]) > 10
    assert b"".join(m.get("body", b"") for m in sent[1:]) == b""
    assert scope["method"] == "HEAD"


def test_head_of_nothing(client: Client) -> None:
    response = client.head("/v1/packs/zz")
    assert (response.status_code, response.headers["content-type"], response.content) == (404, PROBLEM, b"")


@pytest.mark.parametrize(
    ("path", "allow"), [("/v1/packs", "GET, HEAD, OPTIONS"), ("/v1/advice", "GET, HEAD, OPTIONS, POST")]
)
def test_options_lists_the_methods(client: Client, path: str, allow: str) -> None:
    response = client.options(path)
    assert (response.status_code, response.headers["allow"], response.content) == (204, allow, b"")


@pytest.mark.parametrize(
    ("accept", "status"),
    [
        ("*/*", 200), ("application/*", 200), ("text/html, */*;q=0.8", 200), ("application/problem+json", 200),
        ("", 200),
        ("text/html", 406), ("application/xml, text/plain;q=0.5", 406), (";;;", 406),
        # Weights (RFC 9110, 12.4.2): 0 is never; what is no weight counts for nothing.
        ("*/*;q=0", 406), ("application/json; q = 0", 406), ("application/json;Q=0.000, text/html", 406),
        ("application/json;q=inf", 200), ("application/json;q=1e999", 200), ("application/json;q=", 200),
        ("application/json;q=-1", 200), ("*/*;q=nan", 200),
    ],
)  # fmt: skip
def test_a_caller_who_takes_no_json(client: Client, accept: str, status: int) -> None:
    asked = [("GET", "/v1/packs", {}), ("POST", "/v1/advice", {"json": TASKS["advice"].example})]
    for method, path, more in asked:
        response = client.request(method, path, headers={"accept": accept}, **more)
        assert response.status_code == status, response.text
        assert (response.json().get("code") == "not-acceptable") == (status == 406)


def test_what_is_accepted_may_stand_in_several_lines(client: Client) -> None:
    lines = [("accept", "text/html"), ("accept", "application/json")]
    assert client.get("/v1/packs", headers=lines).status_code == 200
    assert client.post("/v1/advice", json=TASKS["advice"].example, headers=lines).status_code == 200


def test_a_host_that_is_none(client: Client) -> None:
    response = client.get("/v1/packs", headers={"host": "a b"})
    assert (response.status_code, response.json()["code"]) == (400, "value-invalid")


def test_liveness(client: Client) -> None:
    answer = client.get("/v1/health/live").json()
    assert answer.pop("version")
    assert answer == {"status": "alive", "worker_losses": 0, "plain_answers": 0}


def test_the_document_is_served_as_json(client: Client) -> None:
    response = client.get("/v1/openapi.json")
    assert response.headers["content-type"] == "application/json"
    assert json.loads(response.content)["openapi"].startswith("3.1")
