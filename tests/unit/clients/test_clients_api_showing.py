"""The client against the service itself: live channels, questions in an address, the service's own state."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import msgspec
import pytest
from served import served

from advisor.clients.api import Advisor, BadQuestion, NotFound
from advisor.facts import Question
from advisor.library import load_library
from advisor.service.app import create_app
from advisor.service.live.wire import LiveAdvice, LiveState
from advisor.service.settings import Settings
from advisor.service.weighing.tasks import TASKS

QUESTION: dict[str, Any] = TASKS["advice"].example


@pytest.fixture(scope="module")
def advisor() -> Iterator[Advisor]:
    settings = Settings(engine="plain", workers=0)
    with served(create_app(settings, load_library(engine="plain"))) as url, Advisor(url, timeout=60) as client:
        yield client


def test_a_channel_shows_what_was_submitted(advisor: Advisor) -> None:
    state = LiveState(question=msgspec.convert(QUESTION, Question), note="set two")
    shown = advisor.submit_live("desk", state)
    assert (shown.channel, shown.note) == ("desk", "set two") and shown.advice.responses
    assert advisor.get_live("desk") == shown
    heard = next(iter(advisor.listen("desk")))
    assert heard.json(LiveAdvice) == shown
    advisor.submit_live("other", {"question": QUESTION})
    page = advisor.list_live(limit=1)
    assert [one.channel for one in (*page.channels, *advisor.list_live(after=page.next).channels)] == ["desk", "other"]
    assert advisor.clear_live("desk").why == "cleared"
    with pytest.raises(NotFound):
        advisor.get_live("desk")


def test_a_question_in_the_address_is_answered_alike(advisor: Advisor) -> None:
    assert advisor.ask_by_address("replay", TASKS["replay"].example) == advisor.replay(TASKS["replay"].example)
    with pytest.raises(BadQuestion):
        advisor.ask_by_address("replay", {"me": 1})


def test_the_service_tells_its_state_and_reads_its_data_again(advisor: Advisor) -> None:
    assert advisor.ready().status == "ready"
    assert [one.change for one in advisor.reload().packs] == ["same"]
