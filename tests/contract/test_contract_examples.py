"""The examples that documentation shows: asked again, they get the answer that they show."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import msgspec
import pytest
from example_files import answer_to, example_files, settled
from jsonschema import Draft202012Validator
from litestar.testing import TestClient

from advisor.facts.question import Question
from advisor.service.app import Service
from advisor.service.contract import contract

FILES = example_files()


def read(path: Path) -> dict[str, Any]:
    example: dict[str, Any] = json.loads(path.read_text("utf-8"))
    return example


def operation_of(request: dict[str, Any]) -> dict[str, Any]:
    path = request["path"].partition("?")[0]
    for template, item in contract()["paths"].items():
        if re.fullmatch(re.sub(r"\{\w+\}", "[^/]+", template), path):
            found: dict[str, Any] = item[request["method"].lower()]
            return found
    raise AssertionError(f"no operation at {path}")


@pytest.mark.parametrize("path", FILES, ids=[p.stem for p in FILES])
def test_an_example_gets_the_answer_that_it_shows(client: TestClient[Service], path: Path) -> None:
    example = read(path)
    assert example.keys() == {"summary", "request", "answer"}
    answer = answer_to(client, example["request"])
    assert settled(answer) == settled(example["answer"]), "run: python tests/contract/example_files.py"


@pytest.mark.parametrize("path", FILES, ids=[p.stem for p in FILES])
def test_an_example_is_as_the_document_says(path: Path) -> None:
    example = read(path)
    answer = example["answer"]
    content = operation_of(example["request"])["responses"][str(answer["status"])]["content"]
    schema = {**content[answer["media_type"]]["schema"], "components": contract()["components"]}
    Draft202012Validator(schema).validate(answer["body"])


def test_every_operation_has_an_example_and_errors_have_some() -> None:
    examples = [read(path) for path in FILES]
    shown = {operation_of(e["request"])["operationId"] for e in examples}
    assert shown == {o["operationId"] for item in contract()["paths"].values() for o in item.values()}
    assert {e["answer"]["status"] for e in examples} >= {200, 400, 404, 422}


def test_the_questions_of_good_examples_cover_most_of_what_can_be_asked() -> None:
    questions = [
        msgspec.convert(e["request"]["body"], Question)
        for e in map(read, FILES)
        if e["answer"]["status"] == 200 and e["request"]["path"] == "/v1/advice"
    ]
    assert {type(q.moment).__name__ for q in questions} >= {"Blocked", "Advantage", "KnockedDown", "Neutral"}
    assert {type(q.distance).__name__ for q in questions} == {"str", "float", "NoneType"}
    assert {True, False} == {q.sources for q in questions}
