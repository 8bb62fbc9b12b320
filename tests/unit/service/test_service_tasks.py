"""Everything that can be submitted, task by task: the same reading, the same refusals, the same answers everywhere."""

from __future__ import annotations

import asyncio
import json
from typing import Any

import msgspec
import pytest
from litestar.testing import TestClient
from worker_tasks import dies

from advisor.library import Library
from advisor.service.app import Service, create_app
from advisor.service.settings import Settings
from advisor.service.weighing.pool import Pool
from advisor.service.weighing.tasks import TASKS, Task
from advisor.service.weighing.work import JSON, Answer, Desk
from advisor.studies import STUDIES

Client = TestClient[Service]
every_task = pytest.mark.parametrize("task", TASKS.values(), ids=list(TASKS))


def send(client: Client, task: Task, body: Any) -> tuple[int, dict[str, Any]]:
    response = client.post(task.path, content=json.dumps(body), headers={"content-type": "application/json"})
    return response.status_code, response.json()


def required(task: Task) -> list[str]:
    return [f.encode_name for f in msgspec.structs.fields(task.request) if f.required]


@every_task
def test_a_task_is_described(task: Task) -> None:
    assert task.summary[:1].isupper()
    assert not task.summary.endswith(".")
    assert len(task.summary) <= 80
    assert task.description.endswith(".")
    assert len(task.description) >= 40
    assert len({t.operation for t in TASKS.values()}) == len(TASKS)


@every_task
def test_a_request_refuses_what_it_does_not_know(task: Task) -> None:
    """A misspelt field that is dropped in silence answers another question than was asked."""
    assert task.request.__struct_config__.forbid_unknown_fields


@every_task
def test_every_field_of_a_request_is_described(task: Task) -> None:
    schema = msgspec.json.schema(task.request)["$defs"][task.request.__name__]
    silent = [name for name, form in schema["properties"].items() if "description" not in json.dumps(form)]
    assert silent in ([], ["me", "them"], ["me"], ["them"]), "a reference has the description of its type"


@every_task
def test_library_and_service_give_the_same_answer(client: Client, library: Library, task: Task) -> None:
    request = msgspec.convert(task.example, task.request)
    status, answer = send(client, task, task.example)
    assert status == 200, answer
    assert answer == json.loads(msgspec.json.encode(task.run(library, request)))


@every_task
def test_an_unknown_field_is_pointed_at_with_the_nearest_name(client: Client, task: Task) -> None:
    for name in msgspec.structs.fields(task.request):
        wrong = f"{name.encode_name}z"
        status, problem = send(client, task, {**task.example, wrong: 1})
        assert (status, problem["code"], problem["pointer"]) == (400, "value-invalid", f"/{wrong}")
        assert problem["help"] == f"did you mean `{name.encode_name}`?"


@every_task
def test_a_missing_field_is_pointed_at(client: Client, task: Task) -> None:
    for name in required(task):
        status, problem = send(client, task, {k: v for k, v in task.example.items() if k != name})
        assert (status, problem["code"], problem["pointer"]) == (400, "value-invalid", f"/{name}")
        assert problem["help"].startswith(f"add `{name}`")


@every_task
@pytest.mark.parametrize("body", [b"", b"{", b"\xff", b"[]", b"{}", b'{"pack": NaN}', b"[" * 2000])
def test_what_is_no_request_is_refused(client: Client, task: Task, body: bytes) -> None:
    response = client.post(task.path, content=body, headers={"content-type": "application/json"})
    assert response.status_code == 400
    assert response.headers["content-type"] == "application/problem+json"
    assert response.json()["code"] in ("body-malformed", "value-invalid")


@every_task
def test_the_media_type_is_asked_for(client: Client, task: Task) -> None:
    response = client.post(task.path, content=b"{}", headers={"content-type": "text/plain"})
    assert (response.status_code, response.json()["code"]) == (415, "media-type-unsupported")
    assert client.put(task.path).status_code == 405


FIELDS = {"pack": "pack-unknown", "distance": "distance-unknown"}


@every_task
@pytest.mark.parametrize("field", FIELDS)
def test_an_unknown_name_in_a_place_that_all_share(client: Client, task: Task, field: str) -> None:
    if field not in task.request.__struct_fields__:
        assert field != "pack", "every request names its pack"
        return
    status, problem = send(client, task, {**task.example, field: "zz"})
    assert (status, problem["code"], problem["pointer"]) == (404, FIELDS[field], f"/{field}")
    assert problem["help"]


@every_task
def test_an_unknown_character_is_found_out(client: Client, task: Task) -> None:
    places = [place for place in ("me", "them", "character") if task.example.get(place)]
    assert places
    for place in places:
        wrong = "wena" if place == "character" else {"character": "wena"}
        pointer = "/character" if place == "character" else f"/{place}/character"
        status, problem = send(client, task, {**task.example, place: wrong})
        assert (status, problem["code"], problem["pointer"]) == (404, "character-unknown", pointer)
        assert problem["help"] == "did you mean `wenna`?"


@pytest.mark.full
def test_workers_weigh_every_task_as_the_servers_own_process_does(library: Library) -> None:
    async def play() -> None:
        pool = Pool(library, Settings(workers=1, engine="plain"))
        await pool.start()
        for name, task in TASKS.items():
            body = json.dumps(task.example).encode()
            assert await pool.ask(name, body) == await Desk(library).ask(name, body)
        await pool.stop()

    asyncio.run(play())


@pytest.mark.full
def test_a_lost_worker_costs_nobody_an_answer_whatever_the_task(library: Library) -> None:
    """Each kind of task is lost once: a question, a study, and one that brings its own libraries."""
    tasks = [TASKS[name] for name in ("advice", "parries", "guess")]

    async def play() -> list[Answer]:
        pool = Pool(library, Settings(workers=1), work=dies)
        await pool.start()
        answers = [await pool.ask(task.name, json.dumps(task.example).encode()) for task in tasks]
        assert pool.plain_answers == len(tasks)
        await pool.stop()
        return answers

    for answer, task in zip(asyncio.run(play()), tasks, strict=True):
        assert answer.status == 200
        msgspec.json.decode(answer.body, type=task.answer)


def test_the_desk_is_told_which_task_it_is(library: Library) -> None:
    heard: list[str] = []

    class Listening(Desk):
        async def ask(self, task: str, body: bytes, media_type: str = JSON) -> Answer:
            heard.append(task)
            return await super().ask(task, body, media_type)

    with TestClient(create_app(Settings(workers=0), library, desk=Listening(library))) as client:
        for task in TASKS.values():
            client.post(task.path, json={})
    assert heard == list(TASKS) == ["advice", *STUDIES]


LISTS = [
    (task, field) for task in TASKS.values() for field, value in task.example.items()
    if isinstance(value, list) and field != "string"
]  # fmt: skip


@pytest.mark.parametrize(("task", "field"), LISTS, ids=[f"{task.name}-{field}" for task, field in LISTS])
def test_an_id_that_is_named_twice_counts_once(client: Client, task: Task, field: str) -> None:
    """Else one list of four hundred times the same id is four hundred times the work, and its rows come again."""
    once = send(client, task, task.example)
    ids = task.example[field]
    assert send(client, task, {**task.example, field: [*ids, *ids]}) == once
