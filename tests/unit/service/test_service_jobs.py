"""Jobs over HTTP: submitted, watched, answered, refused at once with the place of the fault."""

from __future__ import annotations

import time
from collections.abc import Iterator
from typing import Any

import httpx
import msgspec
import pytest
from litestar.testing import TestClient

from advisor.library import Library
from advisor.service.app import Service, create_app
from advisor.service.jobs.wire import LONG, JobPage
from advisor.service.jobs.wire import Job as Shown
from advisor.service.settings import Settings
from advisor.studies import STUDIES

Client = TestClient[Service]
WAIT = 60.0


@pytest.fixture(scope="module", autouse=True)
def no_kept_rounds(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """A solved round that is still on disk would be no job at all."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CACHE_HOME", str(tmp_path_factory.mktemp("cache")))
        yield


@pytest.fixture(scope="module")
def served(library: Library, no_kept_rounds: None) -> Iterator[Client]:
    with TestClient(create_app(Settings(workers=0, engine="plain"), library)) as client:
        yield client


def body(study: str = "round", **changed: Any) -> dict[str, Any]:
    return {"study": study, "request": {**STUDIES[study].example, **changed}}


def submit(client: Client, given: Any) -> Shown:
    response = client.post("/v1/jobs", json=given)
    assert response.status_code == 202, response.text
    job = msgspec.json.decode(response.content, type=Shown)
    assert response.headers["location"] == f"/v1/jobs/{job.id}"
    return job


def look(client: Client, job: Shown) -> Shown:
    return msgspec.json.decode(client.get(f"/v1/jobs/{job.id}").raise_for_status().content, type=Shown)


def finished(client: Client, job: Shown) -> Shown:
    until = time.monotonic() + WAIT
    while (now := look(client, job)).state in ("queued", "running"):
        assert time.monotonic() < until, now
        time.sleep(0.05)
    return now


def test_a_round_is_answered_as_its_own_route_answers_it(served: Client) -> None:
    given = body(steps=6, options=3)
    job = submit(served, given)
    assert (job.study, job.state, job.done, job.total, job.answer) == ("round", "queued", 0, None, None)
    over = finished(served, job)
    assert (over.state, over.problem, over.answer) == ("done", None, f"/v1/jobs/{job.id}/answer")
    assert over.done == over.total and over.total > 0
    assert over.seconds > 0
    assert over.seconds == look(served, job).seconds, "the clock stops with the job"
    answer = served.get(f"/v1/jobs/{job.id}/answer")
    own = served.post("/v1/round", json=given["request"])
    assert (answer.status_code, own.status_code) == (200, 200)
    assert {**answer.json(), "kept": None} == {**own.json(), "kept": None}
    assert answer.headers["content-type"] == own.headers["content-type"]


@pytest.mark.full
@pytest.mark.parametrize("study", sorted(LONG))
def test_every_picture_of_the_study_is_offered_for_the_job_too(served: Client, study: str) -> None:
    from advisor.service.weighing.tasks import TASKS

    small = {"steps": 4, "options": 2} if study == "round" else {"length": 2} if study == "setups" else {}
    given = body(study, **small)
    job = submit(served, given)
    assert finished(served, job).state == "done"
    path = f"/v1/jobs/{job.id}/answer"
    assert served.get(path).json().keys() == served.post(f"/v1/{study}", json=given["request"]).json().keys()
    for media_type in TASKS[study].pictures:
        response = served.get(path, headers={"accept": media_type})
        assert (response.status_code, response.headers["content-type"].split(";")[0]) == (200, media_type)
        assert response.headers["vary"] == "Accept, Accept-Language"
    assert served.get(path, headers={"accept": "audio/ogg"}).json()["code"] == "not-acceptable"


def test_what_only_the_work_brings_up_is_the_problem_of_the_failed_job(served: Client) -> None:
    """That the pack lacks a knockdown state is found while the round is built."""
    down = {"name": "they_down", "moment": {"kind": "knockdown", "floored": "them", "state": "zz", "frames": 20}}
    given = body(situations=[{"name": "neutral", "moment": {"kind": "neutral"}}, down])
    own = served.post("/v1/round", json=given["request"])
    assert own.status_code >= 400, own.text
    job = submit(served, given)
    over = finished(served, job)
    assert over.state == "failed" and over.problem is not None
    answer = served.get(f"/v1/jobs/{job.id}/answer")
    assert answer.status_code == own.status_code
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.json() == {**own.json(), "pointer": f"/request{own.json()['pointer']}"}
    assert answer.json() == msgspec.to_builtins(over.problem)


@pytest.mark.parametrize(
    ("given", "code", "pointer"),
    [
        ([], "value-invalid", None),
        ({}, "value-invalid", "/study"),
        ({"study": "round"}, "value-invalid", "/request"),
        ({"study": "rounds", "request": {}}, "value-invalid", "/study"),
        ({"study": "replay", "request": {}}, "value-invalid", "/study"),
        ({**body(), "more": 1}, "value-invalid", "/more"),
        (body(steps=0), "value-invalid", "/request/steps"),
        (body(stepps=3), "value-invalid", "/request/stepps"),
        (body(me={"character": "wena"}), "character-unknown", "/request/me/character"),
        (body(pack="zz"), "pack-unknown", "/request/pack"),
        (body(distance="zz"), "distance-unknown", "/request/distance"),
        (body(show="zz"), "question-impossible", "/request/show"),
        (body("setups", length=0), "value-invalid", "/request/length"),
        (body("setups", actions=["zz"]), "option-unknown", "/request/actions/0"),
        (
            body("setups", moment={"kind": "knockdown", "floored": "me", "state": "face_up", "frames": 30}),
            "question-impossible", "/request/moment/floored",
        ),
    ],
)  # fmt: skip
def test_a_faulty_job_is_refused_at_once(served: Client, given: Any, code: str, pointer: str | None) -> None:
    before = len(listed(served).jobs)
    response = served.post("/v1/jobs", json=given)
    problem = response.json()
    assert (problem["code"], problem.get("pointer")) == (code, pointer), problem
    assert response.headers["content-type"] == "application/problem+json"
    if isinstance(given, dict) and given.get("study") in LONG and len(given) == 2 and "request" in given:
        own = served.post(f"/v1/{given['study']}", json=given["request"])
        assert {**own.json(), "pointer": f"/request{own.json()['pointer']}"} == problem
    assert len(listed(served).jobs) == before


def listed(client: Client) -> JobPage:
    return msgspec.json.decode(client.get("/v1/jobs").content, type=JobPage)


def test_an_unknown_study_is_told_which_there_are(served: Client) -> None:
    problem = served.post("/v1/jobs", json={"study": "rond", "request": {}}).json()
    assert problem["detail"] == "`rond` is not known here"
    assert "did you mean `round`?" in problem["help"]
    assert all(name in problem["help"] for name in LONG)


@pytest.mark.parametrize(
    ("sent", "said"),
    [
        ({"content": b"{", "headers": {"content-type": "application/json"}}, "body-malformed"),
        ({"content": b"{}", "headers": {"content-type": "text/plain"}}, "media-type-unsupported"),
        ({"content": b" " * 70_000, "headers": {"content-type": "application/json"}}, "body-too-large"),
    ],
)
def test_a_body_that_is_none_is_refused(served: Client, sent: dict[str, Any], said: str) -> None:
    assert served.post("/v1/jobs", **sent).json()["code"] == said


@pytest.mark.parametrize(("method", "tail"), [("GET", ""), ("GET", "/answer"), ("DELETE", "")])
def test_an_unknown_job_is_said_to_be_so(served: Client, method: str, tail: str) -> None:
    response: httpx.Response = served.request(method, f"/v1/jobs/zz{tail}")
    assert (response.status_code, response.json()["code"], response.json()["parameter"]) == (404, "job-unknown", "job")


def test_ids_tell_nothing_of_one_another(served: Client) -> None:
    ids = [submit(served, body("setups", length=1)).id for _ in range(5)]
    assert len(set(ids)) == 5
    assert all(len(key) >= 22 for key in ids), "128 bits or more"
    assert len({key[:4] for key in ids}) > 1
    assert [job.id for job in listed(served).jobs][-5:] == ids
    for key in ids:
        served.delete(f"/v1/jobs/{key}")
