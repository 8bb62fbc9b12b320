"""The client against the service itself: every operation, the types of what comes back, jobs, pictures and problems."""

from __future__ import annotations

import asyncio
import json
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import httpx
import msgspec
import pytest
from served import served

from advisor.advice import Advice
from advisor.clients.api import Advisor, AsyncAdvisor, BadQuestion, JobOverdue, NotFound
from advisor.clients.api.carrying import Operations
from advisor.facts import Question
from advisor.library import Library, load_library
from advisor.service.app import create_app
from advisor.service.jobs.wire import Job
from advisor.service.listing.moves import Filter
from advisor.service.settings import Settings
from advisor.service.weighing.tasks import TASKS
from advisor.studies import STUDIES

ROOT = Path(__file__).parents[3]
SETTINGS = Settings(engine="plain", workers=0)
QUICK = {name: task for name, task in TASKS.items() if name != "round"}
"""A round takes seconds."""
BY_ADDRESS = {task.operation_get for task in TASKS.values()}


@pytest.fixture(scope="module")
def library() -> Library:
    return load_library(engine="plain")


@pytest.fixture(scope="module")
def advisor(library: Library) -> Iterator[Advisor]:
    with served(create_app(SETTINGS, library)) as url, Advisor(url) as client:
        yield client


def method_of(operation: str) -> str:
    """``studyLabList`` is ``lab_list``, ``getPack`` is ``get_pack``; one method is for all questions in an address."""
    if operation in BY_ADDRESS:
        return "ask_by_address"
    if operation == "followLive":
        return "listen"
    return re.sub(r"(?<!^)([A-Z])", r"_\1", operation).lower().removeprefix("study_")


def test_every_operation_of_the_contract_has_a_method() -> None:
    document = json.loads((ROOT / "openapi" / "openapi.json").read_text("utf-8"))
    found = {o["operationId"] for path in document["paths"].values() for o in path.values() if "operationId" in o}
    # A question in the address is the same as one in a body; what follows a channel is called `listen`.
    operations = {name for name in found if name.removesuffix("Get") not in found - {name}} - {"followLive"}
    assert len(operations) > 20 and hasattr(Advisor, "listen")
    for client in (Advisor, AsyncAdvisor):
        assert sorted(name for name in map(method_of, operations) if not hasattr(client, name)) == []


@pytest.mark.parametrize("name", sorted(TASKS))
def test_the_method_of_a_task_has_its_types(name: str) -> None:
    task = TASKS[name]
    sent = msgspec.convert(task.example, task.request)
    call = getattr(Operations, method_of(task.operation)).plan(sent)
    assert (call.path, call.method, call.safe) == (task.path, "POST", True)
    assert call.read.__self__.type is task.answer
    # What a Struct is sent as is what the service reads as the same Struct.
    assert msgspec.json.decode(call.body, type=task.request) == sent


def test_the_awaited_client_asks_the_application_all_there_is(library: Library) -> None:
    app = create_app(SETTINGS, library)

    async def run() -> None:
        through = httpx.ASGITransport(app)
        async with app.lifespan(), AsyncAdvisor("http://localhost", through=through, timeout=60) as advisor:
            for name, task in QUICK.items():
                found = await getattr(advisor, method_of(task.operation))(task.example)
                assert type(found) is task.answer
                if name == "exposed":
                    assert found == await advisor.study(name, msgspec.convert(task.example, task.request))
            both = await asyncio.gather(advisor.advise(TASKS["advice"].example), advisor.live())
            assert both[0].responses and both[1].status == "alive"
            with pytest.raises(NotFound) as raised:
                await advisor.get_pack("cold_fram")
            assert (raised.value.code, raised.value.parameter) == ("pack-unknown", "pack")

    asyncio.run(run())


@pytest.mark.full
def test_a_round_comes_from_the_service(advisor: Advisor, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    assert type(advisor.round(STUDIES["round"].example)) is STUDIES["round"].answer


def test_advice_is_that_of_the_library(advisor: Advisor, library: Library) -> None:
    question = msgspec.convert({**TASKS["advice"].example, "limit": 2}, Question)
    found = advisor.advise(question)
    assert isinstance(found, Advice)
    assert msgspec.json.encode(found) == msgspec.json.encode(library.ask(question))
    assert msgspec.json.decode(advisor.submit("advice", msgspec.json.encode(question)), type=Advice) == found


def test_lists_lead_to_every_move(advisor: Advisor) -> None:
    pack = next(one for one in advisor.list_packs().packs if one.default)
    assert advisor.get_pack(pack.id) == pack
    assert [one.id for one in advisor.list_characters(pack.id).characters] == pack.characters
    fighter = advisor.get_character(pack.id, "marl")
    quick = advisor.list_moves(pack.id, "marl", Filter(first_active_max=12, sort="first_active", limit=3))
    assert quick == advisor.list_moves(pack.id, "marl", {"first_active_max": 12, "sort": "first_active", "limit": 3})
    assert 0 < len(quick.moves) <= 3 and {move.id for move in quick.moves} < set(fighter.moves)
    assert advisor.list_moves(pack.id, "marl").total == len(fighter.moves)
    assert advisor.get_move(pack.id, "marl", quick.moves[0].id).id == quick.moves[0].id


def test_problems_name_the_place(advisor: Advisor) -> None:
    wrong = {**TASKS["advice"].example, "me": {"character": "wena"}}
    with pytest.raises(NotFound) as raised:
        advisor.advise(wrong)
    assert (raised.value.pointer, raised.value.help) == ("/me/character", "did you mean `wenna`?")
    with pytest.raises(BadQuestion) as raised:
        advisor.beats({"them": {}})
    assert raised.value.status == 400 and raised.value.pointer.startswith("/them")


def test_pictures_are_bytes(advisor: Advisor) -> None:
    assert b"<svg" in advisor.picture("replay", STUDIES["replay"].example)
    assert advisor.picture("replay", STUDIES["replay"].example, "png").startswith(b"\x89PNG\r\n\x1a\n")
    with pytest.raises(BadQuestion, match="not-acceptable"):
        advisor.picture("parries", STUDIES["parries"].example)


def test_a_job_is_waited_for_and_answers_as_its_study(advisor: Advisor) -> None:
    looks: list[Job] = []
    job = advisor.submit_job("setups", STUDIES["setups"].example)
    with pytest.raises(JobOverdue):
        advisor.wait_for_job(job, seconds=0.0)
    over = advisor.wait_for_job(job.id, progress=looks.append, seconds=60)
    assert over.state == "done" and looks[-1] == over and len(looks) > 1
    assert advisor.get_job_answer(over) == advisor.setups(STUDIES["setups"].example)
    assert advisor.cancel_job(job) == advisor.get_job(job) == over
    assert over in advisor.list_jobs().jobs
    with pytest.raises(NotFound):
        advisor.get_job_picture("none")
    with pytest.raises(BadQuestion, match="/request"):
        advisor.submit_job("setups", {"me": 1})


@pytest.mark.full
def test_an_editor_knows_the_types(tmp_path: Path) -> None:
    script = tmp_path / "script.py"
    script.write_text(
        "from typing import Any, assert_type\n"
        "from advisor.advice import Advice\n"
        "from advisor.clients.api import Advisor, AsyncAdvisor\n"
        "from advisor.studies.beats_answer import Beats, BeatsAnswer\n"
        "def waits(advisor: Advisor, request: Beats) -> None:\n"
        "    assert_type(advisor.beats(request), BeatsAnswer)\n"
        "    assert_type(advisor.advise({}), Advice)\n"
        "    advisor.beats(3)\n"
        "async def awaits(advisor: AsyncAdvisor, request: Beats) -> None:\n"
        "    assert_type(await advisor.beats(request), BeatsAnswer)\n"
        "    async for event in advisor.listen('here'):\n"
        "        assert_type(event.json(Advice), Advice)\n"
        "    await advisor.listen_not('here')\n",
        encoding="utf-8",
    )
    done = subprocess.run(
        [sys.executable, "-m", "mypy", "--strict", "--cache-dir", str(tmp_path), str(script)],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    faults = [line for line in done.stdout.splitlines() if "error:" in line]
    assert len(faults) == 2, done.stdout + done.stderr
    assert "script.py:8:" in faults[0] and "[arg-type]" in faults[0]
    assert "script.py:13:" in faults[1] and "[attr-defined]" in faults[1]
