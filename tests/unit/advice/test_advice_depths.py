"""How deep the proof goes: whatever is left out, verdicts, numbers, order and the one sentence stay."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from advisor.advice import Advice, advise
from advisor.facts import Question
from advisor.facts.question import Explain
from tests.unit.advice.demo import Onlooker, questions, shelf

SOME = list(questions())[::29]


def asked(question: Question, explain: Explain, *, limit: int = 25) -> Advice:
    here = shelf()
    wanted = msgspec.structs.replace(question, explain=explain, limit=limit)
    return advise(here.pack, here.rules, here.evaluator, wanted)


def plain(advice: Advice) -> dict[str, Any]:
    out: dict[str, Any] = msgspec.to_builtins(advice)
    return out


def test_there_are_questions_enough() -> None:
    assert len(SOME) > 30
    assert {type(q.moment).__name__ for q in SOME} >= {"Blocked", "Whiffed", "Advantage", "KnockedDown"}


def test_with_none_only_the_lists_are_gone() -> None:
    seen = 0
    for question in SOME:
        full, none = plain(asked(question, "full")), plain(asked(question, "none"))
        for response in full["responses"]:
            seen += len(response["reasons"]) + len(response["against"])
            response["reasons"], response["against"] = [], []
        assert none == full
    assert seen > 300


def test_brief_reasons_have_no_facts_and_all_the_rest() -> None:
    facts = 0
    for question in SOME:
        full, brief = plain(asked(question, "full")), plain(asked(question, "brief"))
        for response in full["responses"]:
            for reason in [*response["reasons"], *(r for line in response["against"] for r in line["reasons"])]:
                facts += len(reason["facts"])
                reason["facts"] = []
        assert brief == full
    assert facts > 600


def test_full_is_what_is_given_when_nothing_is_said() -> None:
    question = SOME[3]
    here = shelf()
    wanted = msgspec.structs.replace(question, limit=25)
    assert advise(here.pack, here.rules, here.evaluator, wanted) == asked(question, "full")


def test_every_response_keeps_its_sentence() -> None:
    for question in SOME:
        for response in asked(question, "none", limit=400).responses:
            assert response.sentence.endswith(".")


def test_rules_are_asked_the_same_whatever_the_depth() -> None:
    """The depth is about what is shown: no verdict may come of another question to the rules."""
    here = shelf()
    calls = []
    for explain in ("none", "brief", "full"):
        onlooker = Onlooker(here.evaluator)
        advise(here.pack, here.rules, onlooker, msgspec.structs.replace(SOME[0], explain=explain))
        calls.append([(call.scope, call.records) for call in onlooker.calls])
    assert calls[0] == calls[1] == calls[2]


def test_a_depth_that_is_none_is_refused() -> None:
    body = msgspec.to_builtins(SOME[0]) | {"explain": "all"}
    with pytest.raises(msgspec.ValidationError, match="explain"):
        msgspec.convert(body, Question)
