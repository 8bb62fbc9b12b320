"""Questions in an address: the same answers as with POST, tags that name them, and what others may keep."""

from __future__ import annotations

import json
from typing import Any
from urllib.parse import quote

import msgspec
import pytest
from litestar.testing import RequestFactory, TestClient
from test_service_bodies import question
from test_service_kept import Counting

from advisor.library import Library
from advisor.service.app import Service, create_app
from advisor.service.asking.etags import keeping, named
from advisor.service.settings import Settings
from advisor.service.weighing.tasks import TASKS, Task

Client = TestClient[Service]
LISTS = ["/v1/packs", "/v1/packs/cold_frame", "/v1/packs/cold_frame/characters/wenna/moves?limit=3"]


def address(name: str, body: Any = None, **more: str) -> str:
    sent = json.dumps(TASKS[name].example if body is None else body)
    return f"{TASKS[name].path}?question={quote(sent)}" + "".join(f"&{k}={v}" for k, v in more.items())


HEAVY = ("round",)


@pytest.mark.parametrize(
    "task", [pytest.param(t, marks=[pytest.mark.full][: t.name in HEAVY]) for t in TASKS.values()], ids=list(TASKS)
)
def test_an_address_gets_what_a_body_gets(client: Client, task: Task) -> None:
    posted, got = client.post(task.path, json=task.example), client.get(address(task.name))
    assert (got.status_code, got.content) == (200, posted.content)
    assert "Accept" in got.headers["vary"].split(", ")
    assert got.headers["cache-control"] == "public, max-age=60"
    assert "etag" not in posted.headers
    again = client.get(address(task.name), headers={"if-none-match": got.headers["etag"]})
    assert (again.status_code, again.content, again.headers["etag"]) == (304, b"", got.headers["etag"])


@pytest.mark.parametrize("form", ["svg", "png", "json"])
def test_the_form_may_be_named_and_goes_before_accept(client: Client, form: str) -> None:
    kind = {"svg": "image/svg+xml", "png": "image/png", "json": "application/json"}[form]
    by_accept = client.get(address("replay"), headers={"accept": kind})
    by_name = client.get(address("replay", form=form), headers={"accept": "text/html"})
    assert by_name.status_code == 200
    assert by_name.headers["content-type"].partition(";")[0] == kind
    assert (by_name.content, by_name.headers["etag"]) == (by_accept.content, by_accept.headers["etag"])


def test_forms_have_tags_of_their_own_and_spellings_have_not(client: Client) -> None:
    def tag(url: str) -> str:
        response = client.get(url)
        assert response.status_code == 200
        return response.headers["etag"]

    plain = tag(address("replay"))
    assert len({plain, *(tag(address("replay", form=form)) for form in ("svg", "png"))}) == 3
    assert tag(address("replay", dict(reversed(TASKS["replay"].example.items())))) == plain
    assert tag(address("advice", question(limit=2))) != tag(address("advice", question(limit=3)))


@pytest.mark.parametrize(
    ("given", "status"),
    [
        ("{}", 304), ("W/{}", 304), ('"a", W/"b,c", {}', 304), ("*", 304), ('"a"', 200), ("", 200), ('"*"', 200),
        ("x", 200),
    ],
)  # fmt: skip
@pytest.mark.parametrize("url", [address("advice"), LISTS[2]], ids=["advice", "list"])
def test_if_none_match(client: Client, url: str, given: str, status: int) -> None:
    etag = client.get(url).headers["etag"]
    for method in ("GET", "HEAD"):
        response = client.request(method, url, headers={"if-none-match": given.format(etag)})
        assert (response.status_code, response.headers["etag"]) == (status, etag)


def test_what_the_caller_has_is_not_weighed(library: Library) -> None:
    desk = Counting(library, room=2**20)
    with TestClient(create_app(Settings(workers=0), library, desk=desk)) as client:
        etag = client.get(address("advice")).headers["etag"]
        assert desk.count == 1
        desk.kept = None
        for _ in range(3):
            assert client.get(address("advice"), headers={"if-none-match": etag}).status_code == 304
        assert desk.count == 1


def test_other_data_have_other_tags(library: Library) -> None:
    with TestClient(create_app(Settings(workers=0), library)) as client:
        before = [client.get(url).headers["etag"] for url in (address("advice"), *LISTS)]
    with TestClient(create_app(Settings(workers=0), library.with_engine("plain"))) as client:
        assert [client.get(url).headers["etag"] for url in (address("advice"), *LISTS)] == before
    shelf = library.shelves["cold_frame"]
    pack = msgspec.structs.replace(shelf.pack, hash="0" * 64)
    other = msgspec.structs.replace(library, shelves={"cold_frame": msgspec.structs.replace(shelf, pack=pack)})
    with TestClient(create_app(Settings(workers=0), other)) as client:
        after = [client.get(url).headers["etag"] for url in (address("advice"), *LISTS)]
    assert not set(before) & set(after)


@pytest.mark.parametrize(
    ("query", "parameter", "help"),
    [
        ("", "question", "add `?question="), ("question=", "question", "add `?question="),
        ("quest=1", "quest", "did you mean `question`?"), ("question={}&question={}", "question", "give it once"),
        ("question={}&form=gif", "form", "one of json, svg, png"), ("question={}&form=svgg", "form", "`svg`?"),
    ],
)  # fmt: skip
def test_a_faulty_address_is_told_by_its_parameter(client: Client, query: str, parameter: str, help: str) -> None:
    response = client.get(f"/v1/replay?{query}")
    problem = response.json()
    assert (response.status_code, problem["code"], problem["parameter"]) == (400, "value-invalid", parameter)
    assert help in problem["help"]


def test_a_faulty_question_is_told_as_in_a_body_and_kept_by_nobody(client: Client) -> None:
    faulty: list[Any] = [question(me={"character": "wena"}), question(limit=0), []]
    for body in faulty:
        posted, got = client.post("/v1/advice", json=body), client.get(address("advice", body))
        assert (got.status_code, got.json()) == (posted.status_code, posted.json())
        assert got.headers["cache-control"] == "no-store"
        assert "etag" not in got.headers
    assert client.get(address("advice", form="svg")).json()["help"] == "one of json"
    assert client.get(address("advice"), headers={"accept": "text/html"}).status_code == 406


def test_a_question_that_is_too_large_for_a_body_is_for_an_address(library: Library) -> None:
    with TestClient(create_app(Settings(workers=0, max_body=1024), library)) as client:
        response = client.get(f"/v1/advice?question={'x' * 1025}")
    assert (response.status_code, response.json()["code"]) == (413, "body-too-large")


def test_head_says_what_get_would(client: Client) -> None:
    for name in ("advice", "replay"):
        got, head = client.get(address(name)), client.head(address(name))
        assert (head.status_code, head.content, head.headers["etag"]) == (200, b"", got.headers["etag"])
        assert head.headers["content-length"] == got.headers["content-length"]


def test_what_was_got_with_a_key_is_for_its_owner() -> None:
    plain, keyed = RequestFactory().get("/"), RequestFactory().get("/", headers={"authorization": "Bearer x"})
    assert keeping(plain, '"a"', 7)["Cache-Control"] == "public, max-age=7"
    assert keeping(keyed, '"a"', 7)["Cache-Control"] == "private, max-age=7"
    assert not named(plain, '"a"')
