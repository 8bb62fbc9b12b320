"""One shape for every error: each code that can be raised over HTTP is raised, and none escapes the shape."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from typing import Any

import httpx
import pytest
from jsonschema import Draft202012Validator
from litestar.testing import TestClient

from advisor.errors import STATUS
from advisor.library import Library
from advisor.service.app import Service, create_app
from advisor.service.contract import contract
from advisor.service.jobs.wire import JOB_EXAMPLE
from advisor.service.problems import TITLES
from advisor.service.settings import Settings
from advisor.service.weighing.tasks import TASKS
from advisor.service.weighing.work import JSON, Answer, Desk

Client = TestClient[Service]
EXAMPLE = TASKS["advice"].example
MOVES = "/v1/packs/cold_frame/characters/wenna/moves"


def ask(client: Client, **changes: Any) -> httpx.Response:
    return client.post("/v1/advice", json={**EXAMPLE, **changes})


def send(client: Client, body: bytes, media_type: str = "application/json") -> httpx.Response:
    return client.post("/v1/advice", content=body, headers={"content-type": media_type})


def answer_of_a_job(client: Client, *, cancelled: bool = False) -> httpx.Response:
    """Ask for the answer of a job that has not begun, and leave it cancelled."""
    path = client.post("/v1/jobs", json=JOB_EXAMPLE).headers["location"]
    first = client.get(f"{path}/answer")
    client.delete(path)
    return client.get(f"{path}/answer") if cancelled else first


RAISED: dict[str, list[Callable[[Client], httpx.Response]]] = {
    "body-malformed": [lambda c: send(c, b"{"), lambda c: send(c, b"\xff"), lambda c: send(c, b"")],
    "value-invalid": [
        lambda c: ask(c, limit=0), lambda c: ask(c, moment={"kind": "x"}), lambda c: send(c, b"[]"),
        lambda c: c.get(MOVES, params={"sort": "x"}), lambda c: c.get("/v1/packs", headers={"host": "a b"}),
    ],
    "question-impossible": [lambda c: ask(c, replies=[])],
    "pack-unknown": [lambda c: ask(c, pack="zz"), lambda c: c.get("/v1/packs/zz")],
    "character-unknown": [
        lambda c: ask(c, me={"character": "zz"}), lambda c: c.get("/v1/packs/cold_frame/characters/zz"),
    ],
    "move-unknown": [
        lambda c: ask(c, moment={"kind": "hit", "attacker": "me", "move": "zz"}), lambda c: c.get(f"{MOVES}/zz"),
    ],
    "option-unknown": [lambda c: ask(c, replies=["zz"]), lambda c: ask(c, responses=["zz"])],
    "distance-unknown": [lambda c: ask(c, distance="zz")],
    "knockdown-unknown": [
        lambda c: ask(c, moment={"kind": "knockdown", "floored": "them", "state": "zz", "frames": 20}),
        lambda c: ask(c, moment={"kind": "knockdown", "floored": "me", "state": "zz", "frames": 0}),
    ],
    "not-found": [lambda c: c.get("/zz"), lambda c: c.post("/v1/zz"), lambda c: c.options("/v1/zz")],
    "method-not-allowed": [lambda c: c.delete("/v1/advice"), lambda c: c.post("/v1/packs")],
    "not-acceptable": [lambda c: c.get("/v1/packs", headers={"accept": "text/html"})],
    "job-unknown": [lambda c: c.get("/v1/jobs/zz"), lambda c: c.delete("/v1/jobs/zz")],
    "channel-empty": [lambda c: c.get("/v1/live/zz"), lambda c: c.delete("/v1/live/zz")],
    "job-unfinished": [lambda c: answer_of_a_job(c)],
    "job-cancelled": [lambda c: answer_of_a_job(c, cancelled=True)],
    "body-too-large": [lambda c: send(c, b" " * 70_000)],
    "media-type-unsupported": [lambda c: send(c, b"{}", "text/plain")],
}  # fmt: skip
ELSEWHERE = {
    # with settings of their own: tests/unit/service/test_service_live.py, tests/faults/test_faults_live.py
    "channels-full", "subscribers-full", "channels-unavailable",
    "data-faulty",  # the service does not start
    "jobs-unavailable",  # with a Redis that is away: tests/faults/test_faults_jobs.py
    "jobs-full", "job-timeout",  # with settings of their own: tests/unit/service/test_service_jobs_processes.py
    "question-ambiguous",  # a body names one moment only; the command line can name two
    # with a store: tests/unit/service/test_service_trials.py, test_service_sets.py, test_service_compare.py
    "idempotency-conflict", "trial-corrected", "trial-unknown", "set-exists", "set-unknown", "entry-unknown",
    "lines-faulty", "files-faulty", "store-full", "store-unreachable",
    # with keys, rates and signatures: tests/unit/service/test_service_access.py, test_service_bot_signed.py
    "key-needed", "key-invalid", "scope-missing", "origin-refused", "rate-exceeded", "keys-unavailable",
    "signature-invalid",
    # with processes: tests/unit/service/test_service_pool.py, test_service_reload.py, test_service_seen.py
    "busy", "too-heavy", "reload-refused", "not-ready",
    "body-slow",  # tests/unit/service/test_service_patience.py
}
CASES = [(code, i) for code, calls in RAISED.items() for i in range(len(calls))]


class _Broken(Desk):
    """A desk with a fault of its own, which says more than callers should read."""

    async def ask(self, task: str, body: bytes, media_type: str = JSON) -> Answer:
        raise KeyError(f"secret of the house: {task} {len(body)}")


@pytest.fixture(scope="module")
def client(library: Library) -> Iterator[Client]:
    """A client of its own: the jobs that are left in it are no example's."""
    with TestClient(create_app(Settings(workers=0), library)) as client:
        yield client


@pytest.fixture(scope="module")
def broken(library: Library) -> Iterator[Client]:
    app = create_app(Settings(workers=0), library, desk=_Broken(library))
    with TestClient(app, raise_server_exceptions=False) as client:
        yield client


def assert_problem(response: httpx.Response, code: str) -> dict[str, Any]:
    """RFC 9457: the members and media type of problem details, with our own beside them."""
    assert response.headers["content-type"] == "application/problem+json"
    problem: dict[str, Any] = response.json()
    schema = {"$ref": "#/components/schemas/Problem", "components": contract()["components"]}
    Draft202012Validator(schema).validate(problem)
    assert problem.keys() <= {"type", "title", "status", "code", "detail", "pointer", "parameter", "help"}
    assert problem["code"] == code
    assert problem["type"] == f"/problems/{code}"
    assert problem["title"] == TITLES[code]
    assert problem["status"] == response.status_code == STATUS[code]
    assert not {"pointer", "parameter"} <= problem.keys()
    for text in (problem["detail"], problem.get("help", "")):
        assert_plain(text)
    return problem


def assert_plain(text: str) -> None:
    """Lower case, no full stop, no words of a programming language, no pattern, no trace."""
    assert text[:1] == text[:1].lower()
    assert not text.endswith(".")
    assert "\n" not in text
    for word in ("Traceback", "NoneType", "Struct", "Exception", "msgspec", "litestar", "regex", "codec", "<class"):
        assert word not in text
    assert not re.search(r"`(str|int|float|bool|object|array|null)( \|[^`]*)?`", text)
    assert not re.search(r"\^.*\$|\\[dw]", text)


def test_every_code_is_raised_here_or_cannot_be() -> None:
    assert {*RAISED, "fault"} == STATUS.keys() - ELSEWHERE


@pytest.mark.parametrize(("code", "which"), CASES, ids=[f"{code}-{i}" for code, i in CASES])
def test_a_code_has_the_shape(client: Client, code: str, which: int) -> None:
    assert_problem(RAISED[code][which](client), code)


def test_a_fault_of_ours_has_the_shape_and_says_no_more(broken: Client, caplog: pytest.LogCaptureFixture) -> None:
    response = broken.post("/v1/advice", json=EXAMPLE)
    problem = assert_problem(response, "fault")
    assert problem["detail"] == "something went wrong on our side"
    assert "secret" not in response.text
    assert "secret of the house" in caplog.text
    assert broken.get("/v1/health/live").status_code == 200


@pytest.mark.parametrize("value", [None, True, 3, 1.5, "x", "", [], [1], {}, {"kind": 1}, {"x": {}}, -1, 10**30])
@pytest.mark.parametrize(
    "at",
    [
        (), ("me",), ("me", "character"), ("me", "health"), ("me", "meter"), ("me", "stance"), ("me", "back_turned"),
        ("them", "near_wall"), ("moment",), ("moment", "kind"), ("moment", "attacker"), ("moment", "move"), ("pack",),
        ("distance",), ("responses",), ("replies",), ("limit",), ("sources",),
    ],
)  # fmt: skip
def test_no_value_in_any_place_escapes_the_shape(client: Client, at: tuple[str, ...], value: Any) -> None:
    body: Any = json.loads(json.dumps({**EXAMPLE, "limit": 1, "responses": ["putty_jab"], "replies": ["guard"]}))
    if not at:
        body = value
    else:
        inner = body
        for part in at[:-1]:
            inner = inner[part]
        inner[at[-1]] = value
    response = send(client, json.dumps(body).encode())
    if response.status_code != 200:
        problem = assert_problem(response, response.json()["code"])
        pointer = problem.get("pointer", "").split("/")[1:]
        assert pointer[: len(at)] == list(at) or (at == ("moment",) and pointer[:1] == ["moment"])
