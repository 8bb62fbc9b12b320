"""The lab notebook in answers of the service: what was tried is in them at once, and its absence harms nothing."""

from __future__ import annotations

import asyncio
import json
import logging
import threading
from pathlib import Path
from typing import Any

import msgspec
import pytest
from test_service_bodies import question

from advisor import notebook
from advisor.facts import Question
from advisor.library import Library
from advisor.notebook import Notebook, Trial, situation_of
from advisor.service.settings import Settings
from advisor.service.weighing import trials
from advisor.service.weighing.work import Answer, Desk

BODY = json.dumps(question()).encode()
IGNORED = json.dumps(question(trials="ignore")).encode()


def lab_of(answer: Answer) -> Any:
    assert answer.status == 200, answer.body
    return json.loads(answer.body)["responses"][0].get("evidence")


def add(url: str, library: Library, successes: int, tries: int) -> None:
    pack = library.shelves["cold_frame"].pack
    situation = situation_of(msgspec.convert(question(), Question), pack)
    with Notebook(url) as notebook:
        notebook.add(Trial(situation=situation, response="putty_jab", successes=successes, tries=tries))


def test_new_trials_are_in_the_next_answer(library: Library, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    url = f"sqlite:///{tmp_path / 'notebook.sqlite'}"
    monkeypatch.setattr(trials, "LOOK", 0.0)
    add(url, library, 0, 4)

    async def run() -> None:
        desk = Desk.of(library, Settings(notebook=url))
        first, tag = await desk.ask("advice", BODY), await desk.etag("advice", BODY, "application/json")
        assert (lab_of(first)["successes"], lab_of(first)["tries"]) == (0, 4)
        assert (await desk.ask("advice", BODY)).how == "hit"
        assert lab_of(await desk.ask("advice", IGNORED)) is None
        add(url, library, 1, 9)
        assert await desk.etag("advice", BODY, "application/json") != tag
        second = await desk.ask("advice", BODY)
        assert (second.how, lab_of(second)["successes"], lab_of(second)["tries"]) == ("miss", 1, 13)
        await desk.stop()

    asyncio.run(run())


def test_a_revision_is_looked_up_once_for_many_and_counts_for_a_while(tmp_path: Path) -> None:
    class Slow(trials.Trials):
        looks = 0

        def revision(self) -> str:
            self.looks += 1
            return str(self.looks)

    async def run() -> None:
        slow = Slow(Settings(notebook=f"sqlite:///{tmp_path / 'n.sqlite'}"))
        revisions = trials.Revisions(slow)
        assert set(await asyncio.gather(*(revisions.now() for _ in range(20)))) == {"1"}
        assert await revisions.now() == "1"
        revisions._at -= trials.LOOK
        assert await revisions.now() == "2"

    asyncio.run(run())


def test_a_notebook_that_was_never_written_is_none(
    library: Library, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    monkeypatch.delenv("ADVISOR_NOTEBOOK", raising=False)
    asked = msgspec.convert(question(), Question)
    found = trials.Trials(Settings())
    assert found.advise(library, asked) == library.ask(asked)
    assert found.revision() == trials.NONE
    assert list(tmp_path.iterdir()) == []


def test_a_notebook_that_is_away_is_said_and_costs_the_trials_alone(
    library: Library, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    file = tmp_path / "notebook.sqlite"
    file.mkdir()
    asked = msgspec.convert(question(), Question)
    found = trials.Trials(Settings(notebook=f"sqlite:///{file}"))
    plain = library.ask(asked)
    with caplog.at_level(logging.ERROR):
        for _ in range(2):
            advice = found.advise(library, asked)
            assert advice.cautions == [*plain.cautions, "the lab notebook cannot be reached: trials are left out"]
            assert advice.responses == plain.responses
    assert len(caplog.records) == 1
    assert found.revision() == trials.AWAY
    file.rmdir()
    add(f"sqlite:///{file}", library, 3, 3)
    found._away_until = 0.0
    assert found.advise(library, asked).responses[0].evidence is not None
    assert found.revision() == "1"


def test_a_notebook_that_does_not_answer_is_not_waited_for(
    library: Library, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    held = threading.Event()
    monkeypatch.setattr(trials, "PATIENCE", 0.05)
    monkeypatch.setattr(notebook, "Notebook", lambda _: held.wait(30))
    found = trials.Trials(Settings(notebook=f"sqlite:///{tmp_path / 'n.sqlite'}"))
    advice = found.advise(library, msgspec.convert(question(), Question))
    assert "cannot be reached" in advice.cautions[-1]
    held.set()
