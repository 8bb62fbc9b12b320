"""Other forms of an answer: what ``Accept`` picks, what is refused, and that workers draw."""

from __future__ import annotations

import asyncio
import json
from typing import Any
from xml.etree import ElementTree

import pytest
from litestar.testing import TestClient
from worker_tasks import dies

from advisor.errors import AdvisorError
from advisor.library import Library
from advisor.pictures.offers import OFFERS, PNG, SVG
from advisor.service.app import Service, create_app
from advisor.service.asking.media_types import media_type_of
from advisor.service.contract import contract
from advisor.service.settings import Settings
from advisor.service.weighing.pool import Pool
from advisor.service.weighing.tasks import TASKS
from advisor.service.weighing.work import JSON, Desk
from advisor.studies import STUDIES

Client = TestClient[Service]
REPLAY = TASKS["replay"]
PROBLEM = "application/problem+json"
SIGNATURE = b"\x89PNG\r\n\x1a\n"
"""First bytes of a PNG (ISO/IEC 15948, 5.2)."""
FLOOR = {**TASKS["coverage"].example, "picture": "timing"}
PICTURES = [(name, form) for name, forms in OFFERS.items() for form in forms]


def send(client: Client, accept: str | None, body: Any = None, task: str = "replay") -> Any:
    headers = {"content-type": JSON} | ({} if accept is None else {"accept": accept})
    content = json.dumps(TASKS[task].example if body is None else body)
    return client.post(TASKS[task].path, content=content, headers=headers)


@pytest.mark.parametrize(
    ("accept", "form"),
    [
        (None, JSON), ("", JSON), ("*/*", JSON), ("application/json", JSON), (SVG, SVG), ("image/*", SVG),
        ("IMAGE/SVG+XML", SVG), (f"{SVG}, application/json;q=0.9", SVG), (f"{SVG};q=0.2, application/json", JSON),
        (f"text/html, {SVG}", SVG), (f"{SVG};q=0, */*", JSON), (PROBLEM, JSON), (PNG, PNG),
        (f"image/webp, {SVG};q=0.1", SVG), (f"{PNG}, {SVG};q=0.1", PNG), (f"{PNG};q=0.3, {SVG};q=0.4", SVG),
        (f"{PNG};q=0.5, {JSON};q=0.4", PNG),
    ],
)  # fmt: skip
def test_accept_picks_the_form(client: Client, accept: str | None, form: str) -> None:
    response = send(client, accept)
    assert (response.status_code, response.headers["content-type"].partition(";")[0]) == (200, form)
    assert "accept" in response.headers["vary"].lower()
    if form == SVG:
        assert ElementTree.fromstring(response.content).tag.endswith("svg")
    elif form == PNG:
        assert response.content.startswith(SIGNATURE)
    else:
        assert response.json()["contact"]["frame"] == 10


@pytest.mark.parametrize("accept", ["text/html", "image/webp", f"{SVG};q=0", f"{SVG};q=0.0, text/html", ";;;"])
def test_what_is_none_of_the_forms_is_refused(client: Client, accept: str) -> None:
    response = send(client, accept)
    problem = response.json()
    assert (response.status_code, response.headers["content-type"], problem["code"]) == (406, PROBLEM, "not-acceptable")
    assert problem["help"] == f"accept `{JSON}` or `{SVG}` or `{PNG}`"


def test_a_task_without_pictures_has_json_only(client: Client) -> None:
    assert send(client, SVG, task="advice").status_code == 406
    response = send(client, f"{SVG}, */*;q=0.1", task="advice")
    assert (response.status_code, response.headers["content-type"]) == (200, JSON)
    assert "Accept" not in response.headers.get("vary", "").split(", ")


@pytest.mark.parametrize("body", [{}, {**REPLAY.example, "option": "zz"}])
def test_an_error_is_a_problem_whatever_was_asked_for(client: Client, body: Any) -> None:
    response = send(client, SVG, body)
    assert response.status_code in (400, 404)
    assert response.headers["content-type"] == PROBLEM
    assert response.json()["pointer"]


def test_the_media_type_of_the_body_is_asked_for_as_ever(client: Client) -> None:
    response = client.post(REPLAY.path, content=b"{}", headers={"content-type": "text/plain", "accept": SVG})
    assert response.status_code == 415


@pytest.mark.parametrize(("name", "form"), PICTURES)
def test_every_picture_is_offered_listed_and_drawn(client: Client, name: str, form: str) -> None:
    assert name in STUDIES
    listed = contract()["paths"][TASKS[name].path]["post"]["responses"]["200"]["content"]
    assert set(listed) == {JSON, *OFFERS[name]}
    response = send(client, form, task=name)
    assert (response.status_code, response.headers["content-type"].partition(";")[0]) == (200, form)
    if form == PNG:
        assert response.content.startswith(SIGNATURE) and response.content.rstrip().endswith(b"IEND\xaeB`\x82")
    else:
        assert ElementTree.fromstring(response.content).tag.endswith("svg")
    assert len(response.content) > 500


def test_all_four_studies_have_both_forms() -> None:
    assert {name: set(forms) for name, forms in OFFERS.items()} == {
        name: {SVG, PNG} for name in ("coverage", "replay", "guess", "round")
    }  # fmt: skip


def words(content: bytes) -> str:
    """All that an SVG says, its description too."""
    return " ".join(ElementTree.fromstring(content).itertext())


def test_the_timing_of_a_row_takes_the_place_of_the_table(client: Client) -> None:
    rows = send(client, None, FLOOR, "coverage").json()["rows"]
    table = words(send(client, SVG, {**FLOOR, "picture": "table"}, "coverage").content)
    best, other = (
        words(send(client, SVG, body, "coverage").content) for body in (FLOOR, {**FLOOR, "row": rows[1]["option"]})
    )
    assert "my delay, frames" not in table and all(row["name"] in table for row in rows)
    assert "my delay, frames" in best and rows[0]["name"] in best and rows[1]["name"] not in best
    assert rows[1]["name"] in other and rows[0]["name"] not in other


@pytest.mark.parametrize("accept", [None, SVG, PNG])
def test_a_row_that_is_none_is_pointed_at(client: Client, accept: str | None) -> None:
    row = send(client, None, FLOOR, "coverage").json()["rows"][0]["option"]
    response = send(client, accept, {**FLOOR, "row": f"{row}x"}, "coverage")
    problem = response.json()
    assert (response.status_code, problem["code"], problem["pointer"]) == (404, "option-unknown", "/row")
    assert row in problem["help"]


def test_a_row_beyond_the_limit_says_how_to_list_it(client: Client) -> None:
    rows = send(client, None, {**FLOOR, "limit": 2}, "coverage").json()["rows"]
    problem = send(client, SVG, {**FLOOR, "limit": 1, "row": rows[1]["option"]}, "coverage").json()
    assert problem["pointer"] == "/row" and "limit" in problem["help"]


def test_the_mixes_say_both_sides_the_worth_and_the_losses(client: Client) -> None:
    body = {**TASKS["guess"].example, "limit": 30}
    answer = send(client, None, body, "guess").json()
    said = words(send(client, SVG, body, "guess").content)
    assert "marl (me)" in said and "wenna (them)" in said
    assert f"{answer['value']:+.3g} points" in said
    lost = next(one for one in answer["mine"] if one["loss"] > 0.01)
    assert f"loses {lost['loss']:.3g} points" in said
    assert all(one["name"] in said for one in (*answer["mine"], *answer["theirs"]))


def test_the_chance_over_both_healths_names_situation_and_bounds(client: Client) -> None:
    stand = send(client, None, task="round").json()["stand"]
    said = words(send(client, SVG, task="round").content)
    corner = f"{stand['lower'][0][0]:.1%} to {stand['upper'][0][0]:.1%}"
    assert "neutral, marl against wenna" in said and corner in said


def test_a_worker_draws_what_the_servers_own_process_draws(library: Library) -> None:
    body = json.dumps(REPLAY.example).encode()

    async def play() -> None:
        pool = Pool(library, Settings(workers=1, engine="plain"))
        await pool.start()
        drawn = await pool.ask("replay", body, SVG)
        assert drawn == await Desk(library).ask("replay", body, SVG)
        assert (drawn.status, drawn.media_type) == (200, SVG)
        await pool.stop()

    asyncio.run(play())


def test_a_lost_worker_costs_nobody_a_picture(library: Library) -> None:
    async def play() -> None:
        pool = Pool(library, Settings(workers=1), work=dies)
        await pool.start()
        drawn = await pool.ask("replay", json.dumps(REPLAY.example).encode(), SVG)
        assert (drawn.status, drawn.media_type, pool.plain_answers) == (200, SVG, 1)
        await pool.stop()

    asyncio.run(play())


def test_the_desk_is_told_which_form(library: Library) -> None:
    heard: list[str] = []

    class Listening(Desk):
        async def ask(self, task: str, body: bytes, media_type: str = JSON) -> Any:
            heard.append(media_type)
            return await super().ask(task, body, media_type)

    with TestClient(create_app(Settings(workers=0), library, desk=Listening(library))) as client:
        send(client, SVG)
        send(client, None)
        send(client, "text/html")
    assert heard == [SVG, JSON]


def test_the_choice_by_itself() -> None:
    assert media_type_of("", REPLAY) == JSON
    assert media_type_of("image/svg+xml ; q=1.0", REPLAY) == SVG
    with pytest.raises(AdvisorError) as error:
        media_type_of("audio/*", TASKS["advice"])
    assert error.value.help == f"accept `{JSON}`"
