"""Trials over HTTP: what is refused and where, keys, corrections, filters, pages."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from litestar.testing import TestClient
from test_service_bodies import question

from advisor.library import Library
from advisor.service.app import Service, create_app
from advisor.service.notes import store
from advisor.service.settings import Settings

Client = TestClient[Service]
TRIAL = {"question": question(), "response": "putty_jab", "successes": 3, "tries": 4}


@pytest.fixture(scope="module")
def client(library: Library, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Client]:
    url = f"sqlite:///{tmp_path_factory.mktemp('notes') / 'notebook.sqlite'}"
    with TestClient(create_app(Settings(workers=0, engine="plain", notebook=url), library)) as client:
        yield client


def written(client: Client, key: str | None = None, **changes: Any) -> dict[str, Any]:
    headers = {"idempotency-key": key} if key else {}
    response = client.post("/v1/trials", json={**TRIAL, **changes}, headers=headers)
    assert response.status_code == 201, response.text
    found: dict[str, Any] = response.json()
    return found


def listed(client: Client, **query: Any) -> list[str]:
    response = client.get("/v1/trials", params=query)
    assert response.status_code == 200, response.text
    return [one["id"] for one in response.json()["trials"]]


def test_a_written_trial_is_found_again_and_heeded(client: Client) -> None:
    response = client.post("/v1/trials", json={**TRIAL, "player": "ann", "note": "from the \u00e9dge"})
    trial = response.json()
    assert response.headers["location"] == f"/v1/trials/{trial['id']}"
    assert client.get(response.headers["location"]).json() == trial
    assert trial["situation"]["distance"] == 0.4 and trial["pack_hash"]
    evidence = client.post("/v1/advice", json=question()).json()["responses"][0]["evidence"]
    assert (evidence["successes"], evidence["tries"]) == (3, 4)


@pytest.mark.parametrize(
    ("changes", "status", "code", "pointer"),
    [
        ({"successes": 5}, 400, "value-invalid", "/successes"),
        ({"tries": 0}, 400, "value-invalid", "/tries"),
        ({"tries": 10**30}, 400, "value-invalid", "/tries"),
        ({"window": 0}, 400, "value-invalid", "/window"),
        ({"note": "a\0b"}, 400, "value-invalid", "/note"),
        ({"player": "\0"}, 400, "value-invalid", "/player"),
        ({"note": "x" * 2_001}, 400, "value-invalid", "/note"),
        ({"id": "mine"}, 400, "value-invalid", "/id"),
        ({"question": 7}, 400, "value-invalid", "/question"),
        ({"question": question(pack="other")}, 404, "pack-unknown", "/question/pack"),
        ({"question": question(them={"character": "mar"})}, 404, "character-unknown", "/question/them/character"),
        ({"question": question(distance="touchin")}, 404, "distance-unknown", "/question/distance"),
        (
            {"question": question(moment={"kind": "blocked", "attacker": "them", "move": "none"})},
            404, "move-unknown", "/question/moment/move",
        ),
        ({"response": "putty_jap"}, 404, "option-unknown", "/response"),
        ({"response": "putty_jab@soon"}, 404, "option-unknown", "/response"),
        ({"reply": "none"}, 404, "option-unknown", "/reply"),
        ({"corrects": "none"}, 404, "trial-unknown", "/corrects"),
    ],
)  # fmt: skip
def test_what_is_no_trial_is_refused_where_it_is_wrong(
    client: Client, changes: dict[str, Any], status: int, code: str, pointer: str
) -> None:
    response = client.post("/v1/trials", json={**TRIAL, **changes})
    assert response.headers["content-type"] == "application/problem+json"
    problem = response.json()
    assert (problem["status"], problem["code"], problem["pointer"]) == (status, code, pointer)


@pytest.mark.parametrize(
    "body", [b"", b"[]", b"[" * 5_000, b"\xff", b'{"note": "\\ud800"}', json.dumps(TRIAL).encode()[:-1]]
)
def test_what_is_no_json_writes_nothing(client: Client, body: bytes) -> None:
    before = listed(client, limit=1000)
    response = client.post("/v1/trials", content=body, headers={"content-type": "application/json"})
    assert response.status_code == 400
    assert client.post("/v1/trials", content=body, headers={"content-type": "text/plain"}).status_code == 415
    assert listed(client, limit=1000) == before


def test_a_key_stands_for_one_trial(client: Client) -> None:
    first = written(client, "again", player="key")
    assert written(client, '"again"', player="key") == first
    response = client.post(
        "/v1/trials", json={**TRIAL, "player": "key", "tries": 9}, headers={"idempotency-key": "again"}
    )
    assert (response.status_code, response.json()["parameter"]) == (409, "Idempotency-Key")
    assert first["id"] in response.json()["detail"]
    assert listed(client, player="key") == [first["id"]]
    for key in ("", '""', "x" * 201, "t\u00e9".encode("latin-1")):
        refused = client.post("/v1/trials", json=TRIAL, headers={"idempotency-key": key})  # type: ignore[dict-item]
        assert (refused.status_code, refused.json()["parameter"]) == (400, "Idempotency-Key")


def test_clients_that_send_one_key_at_once_write_once(client: Client) -> None:
    found: list[str] = []
    start = threading.Barrier(6)

    def send() -> None:
        start.wait(10)
        found.append(written(client, "at once", player="many")["id"])

    threads = [threading.Thread(target=send) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(20)
    assert len(found) == 6 and len(set(found)) == 1
    assert listed(client, player="many") == found[:1]


def test_a_correction_counts_in_place_of_what_it_corrects(client: Client) -> None:
    wrong = written(client, player="cor")
    right = written(client, player="cor", successes=1, corrects=wrong["id"])
    assert listed(client, player="cor") == [right["id"]]
    assert listed(client, player="cor", corrected="true") == [wrong["id"], right["id"]]
    assert client.get(f"/v1/trials/{wrong['id']}").json() == wrong
    twice = client.post("/v1/trials", json={**TRIAL, "corrects": wrong["id"]})
    assert (twice.status_code, twice.json()["code"]) == (409, "trial-corrected")
    assert right["id"] in twice.json()["help"]


def test_filters_and_pages_leave_out_nothing_and_repeat_nothing(client: Client) -> None:
    neutral = question(moment={"kind": "neutral"})
    ids = [written(client, player="page", question=neutral if n % 2 else question())["id"] for n in range(7)]
    assert listed(client, player="page", question=json.dumps(neutral)) == ids[1::2]
    # How options are weighed does not make it another situation.
    assert listed(client, player="page", question=json.dumps({**neutral, "limit": 3})) == ids[1::2]
    assert listed(client, player="page", response="guard") == []
    met: list[str] = []
    query: dict[str, Any] = {"player": "page", "limit": 3}
    while True:
        page = client.get("/v1/trials", params=query).json()
        met += [one["id"] for one in page["trials"]]
        if page["next"] is None:
            break
        query["after"] = page["next"]
    assert met == ids


@pytest.mark.parametrize(
    ("query", "status", "name"),
    [
        ({"limit": "0"}, 400, "limit"), ({"limit": "many"}, 400, "limit"), ({"after": "-1"}, 400, "after"),
        ({"after": "1\n"}, 400, "after"), ({"players": "ann"}, 400, "players"), ({"player": ["a", "b"]}, 400, "player"),
        ({"player": "a\0"}, 400, "player"), ({"question": "["}, 400, "question"),
        ({"question": json.dumps(question(them={"character": "mar"}))}, 404, "question"),
        ({"question": json.dumps(question(moment={"kind": "blocked", "attacker": "them", "move": "back_step"}))}, 404,
         "question"),
    ],
)  # fmt: skip
def test_a_faulty_filter_is_named(client: Client, query: dict[str, Any], status: int, name: str) -> None:
    response = client.get("/v1/trials", params=query)
    assert (response.status_code, response.json()["parameter"]) == (status, name)


def test_a_trial_that_is_not_there(client: Client) -> None:
    for id in ("none", "%00", "..%5C"):
        response = client.get(f"/v1/trials/{id}")
        assert (response.status_code, response.json()["parameter"]) == (404, "trial")


def test_a_store_that_hangs_is_not_waited_for_and_holds_up_nobody(
    library: Library, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(store, "PATIENCE", 0.1)
    held = threading.Event()

    def hang(_: str) -> Any:
        held.wait(30)
        raise OSError

    monkeypatch.setattr(store, "_open", hang)
    settings = Settings(workers=0, engine="plain", notebook=f"sqlite:///{tmp_path / 'n.sqlite'}")
    with TestClient(create_app(settings, library)) as client:
        for _ in range(store.THREADS + 2):
            response = client.get("/v1/trials")
            assert (response.status_code, response.json()["code"]) == (503, "store-unreachable")
            assert int(response.headers["retry-after"]) > 0
        assert client.post("/v1/advice", json=question()).status_code == 200
        held.set()
