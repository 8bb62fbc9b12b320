"""The client against the service itself: the notebook, and versions compared."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import msgspec
import pytest
from served import served

from advisor.clients.api import Advisor, BadQuestion, NotFound, ProblemError, notebook
from advisor.library import load_library
from advisor.notebook.sets import SetInfo
from advisor.service.app import create_app
from advisor.service.notes.wire import EntryGiven, RerunGiven, TrialFilter, TrialGiven
from advisor.service.settings import Settings
from advisor.service.weighing.tasks import TASKS

QUESTION: dict[str, Any] = TASKS["advice"].example
TRIAL = {"question": QUESTION, "response": "putty_jab", "successes": 1, "tries": 2}


@pytest.fixture(scope="module")
def advisor(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Advisor]:
    address = f"sqlite:///{tmp_path_factory.mktemp('notes') / 'notebook.sqlite'}"
    settings = Settings(engine="plain", workers=0, notebook=address)
    with served(create_app(settings, load_library(engine="plain"))) as url, Advisor(url, timeout=60) as client:
        yield client


def test_trials_are_written_once_under_their_key_and_found(advisor: Advisor) -> None:
    first = advisor.add_trial(msgspec.convert(TRIAL, TrialGiven), key="one")
    assert advisor.add_trial(TRIAL, key="one") == first == advisor.get_trial(first.id)
    second = advisor.add_trial({**TRIAL, "player": "ann", "corrects": first.id})
    assert advisor.list_trials().trials == [second]
    asked = msgspec.json.encode(QUESTION).decode()
    for wanted in (TrialFilter(corrected=True, limit=1, question=asked), {"corrected": True, "limit": 1}):
        page = advisor.list_trials(wanted)
        assert page.trials == [first]
        assert advisor.list_trials({"corrected": True, "after": page.next}).trials == [second]
    assert advisor.list_trials(TrialFilter(player="bea")).trials == []
    with pytest.raises(ProblemError) as raised:
        advisor.add_trial({**TRIAL, "tries": 9}, key="one")
    assert (raised.value.status, raised.value.code) == (409, "idempotency-conflict")
    with pytest.raises(NotFound):
        advisor.get_trial("a/b?c")


def test_a_trial_may_be_sent_twice_and_what_has_no_key_not() -> None:
    sent = [notebook.add_trial(TRIAL) for _ in range(2)]
    assert all(call.safe and call.key for call in sent) and sent[0].key != sent[1].key
    assert not notebook.add_set({"name": "x"}).safe and not notebook.remove_set("x").safe
    assert notebook.rerun_set("x").safe and notebook.rerun_set("x", {"accept": False}).safe
    assert not notebook.rerun_set("x", RerunGiven(accept=True)).safe
    assert not notebook.rerun_set("x", {"accept": True}).safe and not notebook.import_set("x", b"").safe


def test_a_study_set_is_filled_asked_again_and_carried_over(advisor: Advisor) -> None:
    name = "what? 50 % & m\u00f6re"
    made = advisor.add_set({"name": name, "note": "n"})
    assert made == SetInfo(name=name, note="n", time=made.time, entries=0)
    entry = advisor.add_entry(name, EntryGiven(name="one", request=QUESTION))
    replay = {"name": "two", "study": "replay", "request": TASKS["replay"].example}
    advisor.add_entry(name, replay)
    assert entry.answer["responses"] and advisor.get_set(name).entries[0] == entry
    again = advisor.rerun_set(name)
    assert [one.name for one in again.entries] == ["one", "two"] and not again.accepted
    assert advisor.rerun_set(name, {"accept": True}).accepted
    assert advisor.next_lab(name, {"limit": 1}).set == name
    lines = advisor.export_set(name)
    assert len(lines.splitlines()) == 3
    assert advisor.import_set("copy", lines).entries == 2
    assert [one.name for one in advisor.list_sets().sets] == ["copy", name]
    advisor.remove_entry(name, "two")
    assert len(advisor.get_set(name).entries) == 1
    advisor.remove_set(name)
    with pytest.raises(NotFound) as raised:
        advisor.get_set(name)
    assert raised.value.parameter == "set"
    with pytest.raises(BadQuestion, match="lines-faulty"):
        advisor.import_set("other", b"{")


def test_versions_are_compared(advisor: Advisor) -> None:
    same = {"pack": "cold_frame"}
    found = advisor.compare_versions({"old": same, "new": same, "character": "wenna", "distance": 0.5})
    assert found.properties == []
    with pytest.raises(NotFound) as raised:
        advisor.compare_versions({"old": {"pack": "cold"}, "new": same})
    assert raised.value.pointer == "/old/pack"
