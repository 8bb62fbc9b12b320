"""Study sets over HTTP: names, entries and their answers, asking again, the lab list, JSON Lines."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from litestar.testing import TestClient
from test_service_bodies import question

from advisor.library import Library
from advisor.notebook import Notebook, Sets
from advisor.notebook.sets import Kept
from advisor.service.app import Service, create_app
from advisor.service.settings import Settings

Client = TestClient[Service]
LINES = {"content-type": "application/jsonl"}


@pytest.fixture(scope="module")
def url(tmp_path_factory: pytest.TempPathFactory) -> str:
    return f"sqlite:///{tmp_path_factory.mktemp('notes') / 'notebook.sqlite'}"


@pytest.fixture(scope="module")
def client(library: Library, url: str) -> Iterator[Client]:
    with TestClient(create_app(Settings(workers=0, engine="plain", notebook=url), library)) as client:
        yield client


def made(client: Client, name: str, *entries: str) -> str:
    assert client.post("/v1/sets", json={"name": name, "note": "n"}).status_code == 201
    for entry in entries:
        response = client.post(f"/v1/sets/{name}/entries", json={"name": entry, "request": question()})
        assert response.status_code == 201, response.text
    return f"/v1/sets/{name}"


def refusal(response: Any) -> tuple[int, str, str]:
    problem = response.json()
    assert response.headers["content-type"] == "application/problem+json"
    assert problem["status"] == response.status_code
    return problem["status"], problem["code"], problem.get("pointer") or problem.get("parameter")


def test_a_set_keeps_what_was_answered(client: Client) -> None:
    at = made(client, "answers of mine", "one")
    shown = client.post(f"{at}/entries", json={"name": "two", "request": {**question(), "limit": 1.0}}).json()
    kept = client.get(at).json()
    assert [one["name"] for one in kept["entries"]] == ["one", "two"]
    assert kept["entries"][1] == shown and shown["time"]
    assert kept["entries"][0]["request"] == question()
    assert kept["entries"][0]["answer"]["summary"] == shown["answer"]["summary"]
    study = {"name": "three", "study": "beats", "request": {"them": {"character": "marl"}, "moves": ["cinder_knee"]}}
    assert client.post(f"{at}/entries", json=study).status_code == 201
    assert {"name": "answers of mine", "entries": 3}.items() <= next(
        one for one in client.get("/v1/sets").json()["sets"] if one["name"] == "answers of mine"
    ).items()
    assert client.delete(f"{at}/entries/two").status_code == 204
    assert refusal(client.delete(f"{at}/entries/two")) == (404, "entry-unknown", "entry")
    assert client.delete(at).status_code == 204
    for gone in (client.get(at), client.delete(at), client.post(f"{at}/rerun", json={}), client.get(f"{at}/lines")):
        assert refusal(gone) == (404, "set-unknown", "set")
    # The name is free again.
    made(client, "answers of mine")


@pytest.mark.parametrize("name", ["", " a", "a\n", "a/b", ".", "..", "a\0b", "x" * 201, 7, None])
def test_a_name_that_cannot_stand_in_a_path_is_none(client: Client, name: Any) -> None:
    assert refusal(client.post("/v1/sets", json={"name": name})) == (400, "value-invalid", "/name")


@pytest.mark.parametrize("name", ["a b", "\u00fc\u00df 100%", "...", "a?b#c&d=e", "\u202e\U0001f94a", "a\\b", "x" * 99])
def test_any_other_name_leads_to_its_set(client: Client, name: str) -> None:
    from urllib.parse import quote

    assert client.post("/v1/sets", json={"name": name}).status_code == 201
    assert client.get(f"/v1/sets/{quote(name, safe='')}").json()["name"] == name
    assert refusal(client.post("/v1/sets", json={"name": name})) == (409, "set-exists", "/name")


@pytest.mark.parametrize(
    ("changes", "wanted"),
    [
        ({"request": question(responses=["putty_jab", 3])}, (400, "value-invalid", "/request/responses/1")),
        ({"request": question(them={"character": "mar"})}, (404, "character-unknown", "/request/them/character")),
        ({"request": []}, (400, "value-invalid", "/request")),
        ({"request": {}}, (400, "value-invalid", "/request/me")),
        ({"study": "beatz"}, (400, "value-invalid", "/study")),
        ({"study": "beats"}, (400, "value-invalid", "/request/moment")),
        ({"name": "../up"}, (400, "value-invalid", "/name")),
        ({"name": "there"}, (409, "set-exists", "/name")),
        ({"kept": {}}, (400, "value-invalid", "/kept")),
    ],
)
def test_what_cannot_be_asked_is_not_saved(
    client: Client, changes: dict[str, Any], wanted: tuple[int, str, str]
) -> None:
    if client.get("/v1/sets/refusing").status_code == 404:
        made(client, "refusing", "there")
    sent = {"name": "new", "request": question(), **changes}
    assert refusal(client.post("/v1/sets/refusing/entries", json=sent)) == wanted
    assert [one["name"] for one in client.get("/v1/sets/refusing").json()["entries"]] == ["there"]


def test_asking_again_tells_what_changed_and_accepts_it(client: Client, url: str) -> None:
    at = made(client, "again", "still", "moved")
    with Notebook(url) as notebook:
        sets = Sets(notebook)
        kept = sets.get("again")[1][1].kept
        assert kept is not None
        older = {**kept.answer, "considered": 99}
        sets.keep("again", {"moved": Kept(answer=older, data_version="0.9", pack_hash="p", rules_hash="r")})
    looked = client.post(f"{at}/rerun", json={}).json()
    assert [one["outcome"] for one in looked["entries"]] == ["same", "changed"] and not looked["accepted"]
    assert looked["entries"][1]["changes"] == ["considered: 99 -> 1"]
    assert client.post(f"{at}/rerun", json={"accept": True}).json()["entries"] == looked["entries"]
    assert [one["outcome"] for one in client.post(f"{at}/rerun", json={}).json()["entries"]] == ["same", "same"]
    assert refusal(client.post(f"{at}/rerun", json={"accept": "yes"})) == (400, "value-invalid", "/accept")


def test_the_lab_list_of_a_set_goes_by_trials(client: Client) -> None:
    made(client, "lab")
    ask = question(responses=["putty_jab", "ceiling_lift"], limit=5)
    assert client.post("/v1/sets/lab/entries", json={"name": "one", "request": ask}).status_code == 201
    found = client.post("/v1/sets/lab/lab", json={"tries": 10, "limit": 1}).json()
    assert (found["set"], found["tries"], len(found["items"])) == ("lab", 10, 1)
    trial = {"question": ask, "response": "ceiling_lift", "successes": 500, "tries": 500}
    assert client.post("/v1/trials", json=trial).status_code == 201
    after = client.post("/v1/sets/lab/lab", json={"tries": 10, "limit": 5}).json()
    assert after["items"] != found["items"]
    assert refusal(client.post("/v1/sets/lab/lab", json={"tries": 0})) == (400, "value-invalid", "/tries")


def test_lines_go_round(client: Client) -> None:
    at = made(client, "round", "one", "two")
    out = client.get(f"{at}/lines", headers={"accept": "application/jsonl"})
    assert out.headers["content-type"].startswith("application/jsonl") and len(out.content.splitlines()) == 3
    back = client.post("/v1/sets/round back/lines", content=out.content, headers=LINES)
    assert (back.status_code, back.json()["name"], back.json()["entries"]) == (201, "round back", 2)
    first, second = (client.get(f"/v1/sets/{name}").json() for name in ("round", "round back"))
    assert (first["note"], first["entries"]) == (second["note"], second["entries"])
    again = client.post("/v1/sets/round back/lines", content=out.content, headers=LINES)
    assert refusal(again) == (409, "set-exists", "set")


HEAD = b'{"set":"x"}\n'
GOOD = json.dumps({"name": "one", "request": question()}).encode()


@pytest.mark.parametrize(
    ("body", "said"),
    [
        (b"", "1:1"), (b"{}", "1:1"), (b"\xff\xfe", "1:1"), (HEAD + b"[" * 5_000, "line 2"),
        (HEAD + b'{"name":' * 100, "line 2"), (HEAD + GOOD + b"\n\n" + GOOD, "3:1"),
        (HEAD + GOOD + b"\n" + GOOD, "entry `one` is on line 2 too"), (HEAD + GOOD.replace(b"one", b" one"), "no name"),
        (HEAD + GOOD.replace(b"}}", b'}},"study":"no"}'), "2:1"), (HEAD + GOOD.replace(b"wenna", b"\xc3\x28"), "2:1"),
        (HEAD + b'{"name":"a"}\n{"name":"b"}', "2 fault(s)"),
    ],
)  # fmt: skip
def test_faulty_lines_are_named_and_nothing_is_taken(client: Client, body: bytes, said: str) -> None:
    response = client.post("/v1/sets/faulty/lines", content=body, headers=LINES)
    assert (response.status_code, response.json()["code"]) == (422, "lines-faulty"), response.text
    assert said in response.json()["detail"]
    assert client.get("/v1/sets/faulty").status_code == 404


def test_lines_have_a_name_and_a_type(client: Client) -> None:
    good = HEAD + GOOD + b"\n"
    assert refusal(client.post("/v1/sets/%20a/lines", content=good, headers=LINES)) == (400, "value-invalid", "set")
    assert client.post("/v1/sets/typed/lines", content=good, headers={"content-type": "text/csv"}).status_code == 415
    many = HEAD + b"{}\n" * 1_001
    refused = client.post("/v1/sets/many/lines", content=many, headers=LINES)
    assert (refused.status_code, refused.json()["help"]) == (413, "at most 1000 entries: make several sets")


def test_a_store_that_cannot_be_opened_is_told_by_every_route(library: Library, tmp_path: Path) -> None:
    (tmp_path / "notebook.sqlite").mkdir()
    settings = Settings(workers=0, engine="plain", notebook=f"sqlite:///{tmp_path / 'notebook.sqlite'}")
    with TestClient(create_app(settings, library)) as client:
        for method, path, body in (
            ("GET", "/v1/sets", None), ("POST", "/v1/sets", {"name": "a"}), ("GET", "/v1/trials", None),
            ("POST", "/v1/sets/a/rerun", {}), ("POST", "/v1/sets/a/entries", {"name": "a", "request": question()}),
            ("POST", "/v1/compare", {"old": {"pack": "cold_frame"}, "new": {"pack": "cold_frame"}, "set": "a"}),
        ):  # fmt: skip
            response = client.request(method, path, json=body)
            assert (response.status_code, response.json()["code"]) == (503, "store-unreachable"), path
            assert int(response.headers["retry-after"]) > 0 and str(tmp_path) not in response.text
