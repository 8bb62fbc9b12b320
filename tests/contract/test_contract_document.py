"""The OpenAPI document: valid, complete, the one that is committed, and the one that is served."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import msgspec
import pytest
from litestar.handlers import HTTPRouteHandler
from litestar.testing import TestClient
from openapi_spec_validator import OpenAPIV31SpecValidator

from advisor.errors import STATUS
from advisor.service.app import Service
from advisor.service.contract import contract, written
from advisor.service.groups import GROUPS
from advisor.service.jobs.wire import LONG
from advisor.service.problems import TITLES
from advisor.service.weighing.tasks import TASKS, Task
from advisor.studies import STUDIES

ROOT = Path(__file__).parents[2]
OPERATIONS = [
    (method, path, operation) for path, item in contract()["paths"].items() for method, operation in item.items()
]
PICTURES = {task.path: set(task.pictures) for task in TASKS.values()}
PICTURES["/v1/jobs/{job}/answer"] = {form for name in LONG for form in TASKS[name].pictures}
BODILESS = {"reload", "addSet", "importSet"}
"""What is posted without anything in it that could be unknown."""
GOT = {task.operation_get for task in TASKS.values()} | {"listTrials"}
"""What is asked in an address, as it may be in a body."""
STREAMS = {"followLive"}
"""Events as they come, of a channel that need not show anything yet."""
FORMS = {"followLive": "text/event-stream", "exportSet": "application/jsonl"}
CREATED = {"addTrial", "addSet", "addEntry", "importSet"}
GONE = {"removeSet", "removeEntry"}
LATER = {"submitJob", "cancelJob"}
"""Operations whose work goes on after the answer (202)."""
ROUTES = [route for group in GROUPS for route in group.routes if isinstance(route, HTTPRouteHandler)]
BY_ID = {operation["operationId"]: operation for _, _, operation in OPERATIONS}


def test_the_committed_document_is_this_one() -> None:
    committed = (ROOT / "openapi" / "openapi.json").read_text("utf-8")
    assert committed == written(), "run: python -m advisor.service.contract"


def test_the_served_document_is_this_one(client: TestClient[Service]) -> None:
    assert client.get("/v1/openapi.json").json() == json.loads(written())


def test_the_document_is_valid() -> None:
    assert contract()["openapi"] == "3.1.0"
    OpenAPIV31SpecValidator(contract()).validate()


def test_the_validator_can_refuse() -> None:
    broken = {k: v for k, v in contract().items() if k != "info"}
    assert list(OpenAPIV31SpecValidator(broken).iter_errors())


def test_every_route_is_in_it() -> None:
    routes = {(m.lower(), path) for route in ROUTES for m in route.http_methods for path in route.paths}
    assert {(m, p.replace("}", ":str}")) for m, p, _ in OPERATIONS} == routes
    assert len(OPERATIONS) == len(BY_ID) == len(ROUTES)


@pytest.mark.parametrize(("method", "path", "operation"), OPERATIONS, ids=[o["operationId"] for _, _, o in OPERATIONS])
def test_every_operation_is_described(method: str, path: str, operation: dict[str, Any]) -> None:
    assert operation["summary"]
    assert operation["operationId"]
    for status, response in operation["responses"].items():
        assert response["description"], (path, status)
        if status == "304":
            assert "content" not in response and "ETag" in response["headers"]
            continue
        if status == "204":
            assert "content" not in response
            continue
        (media_type, *pictures) = response["content"]
        good = FORMS.get(operation["operationId"], "application/json")
        assert media_type == (good if status[0] == "2" else "application/problem+json")
        assert set(pictures) == (PICTURES.get(path, set()) if status == "200" else set())
    key = operation["operationId"]
    good_status = "202" if key in LATER else "201" if key in CREATED else "204" if key in GONE else "200"
    assert [s for s in operation["responses"] if s[0] == "2"] == [good_status]
    assert {"400", "500", *(["406"] if key not in FORMS or key in STREAMS else [])} <= set(operation["responses"])
    asked = (method == "post" or key in GOT) and key not in BODILESS
    found = "{" in path and key not in STREAMS and key != "importSet"
    assert ("404" in operation["responses"]) == (found or asked)
    for parameter in operation.get("parameters", []):
        assert parameter["description"], parameter["name"]


def test_only_statuses_of_the_table_are_declared() -> None:
    declared = {int(s) for operation in BY_ID.values() for s in operation["responses"]} - {200, 201, 202, 204, 304}
    assert declared == set(STATUS.values()) - {405}, "405 is the protocol's, the others have to be declared"


def test_every_error_has_a_title() -> None:
    assert TITLES.keys() == STATUS.keys()
    assert all(title[:1].islower() and not title.endswith(".") for title in TITLES.values())


def test_links_lead_to_operations_and_name_their_parameters() -> None:
    links = [link for o in BY_ID.values() for r in o["responses"].values() for link in r.get("links", {}).values()]
    assert len(links) > 5
    for link in links:
        declared = {p["name"]: p["required"] for p in BY_ID[link["operationId"]]["parameters"]}
        assert set(link["parameters"]) <= set(declared)
        assert {name for name, required in declared.items() if required} <= set(link["parameters"])


PLACES = {"pack": "cold_frame", "character": "wenna", "move": "guard", "set": "punishes"}
LINKS = [
    (operation["operationId"], name, link)
    for method, _, operation in OPERATIONS if method == "get"
    for name, link in operation["responses"].get("200", {}).get("links", {}).items()
]


@pytest.mark.parametrize(("key", "name", "link"), LINKS, ids=[f"{key}-{name}" for key, name, _ in LINKS])
def test_following_a_link_arrives(client: TestClient[Service], key: str, name: str, link: dict[str, Any]) -> None:
    paths = {o["operationId"]: path for _, path, o in OPERATIONS}
    answer = client.get(paths[key].format(**PLACES)).json()
    found = {}
    for parameter, expression in link["parameters"].items():
        value: Any = answer
        for part in expression.removeprefix("$response.body#/").split("/"):
            value = value[int(part) if isinstance(value, list) else part]
        found[parameter] = value
    response = client.get(paths[link["operationId"]].format(**found))
    assert response.status_code == 200, (name, found)


def test_every_field_that_is_a_number_says_what_it_counts() -> None:
    """A number without a word on its unit is a riddle; the unit of a fact's value stands beside it."""
    plain = {"FactShown.value", "ArmourForm.hits"}
    riddles = [
        f"{name}.{field}"
        for name, schema in contract()["components"]["schemas"].items()
        for field, form in schema.get("properties", {}).items()
        if f"{name}.{field}" not in plain and _number(form) and "description" not in json.dumps(form)
    ]
    assert riddles == []


def _number(form: dict[str, Any]) -> bool:
    return any(f.get("type") in ("number", "integer") for f in [form, *form.get("anyOf", [])])


def test_an_address_is_described_as_a_body_is() -> None:
    for task in TASKS.values():
        posted, got = BY_ID[task.operation], BY_ID[task.operation_get]
        question = next(p for p in got["parameters"] if p["name"] == "question")
        assert question["content"] == posted["requestBody"]["content"]
        assert got["responses"]["200"]["content"] == posted["responses"]["200"]["content"]


@pytest.mark.parametrize("task", TASKS.values(), ids=list(TASKS))
def test_the_examples_of_the_document_have_answers(client: TestClient[Service], task: Task) -> None:
    response = client.post(task.path, json=task.example)
    assert response.status_code == 200, response.text
    msgspec.json.decode(response.content, type=task.answer)


def test_the_example_of_advice_is_a_punish(client: TestClient[Service]) -> None:
    response = client.post("/v1/advice", json=TASKS["advice"].example)
    assert response.json()["responses"][0]["verdict"] == "guaranteed"


def test_every_study_is_an_operation() -> None:
    assert {f"/v1/{name}" for name in STUDIES} <= {path for _, path, _ in OPERATIONS}
    assert {task.name for task in TASKS.values()} == {"advice", *STUDIES}
