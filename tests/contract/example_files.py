"""The examples of ``openapi/examples``: one request and its answer a file; documentation and test in one.

``python tests/contract/example_files.py`` asks them again and writes the answers: read the difference.
"""

from __future__ import annotations

import json
import re
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import msgspec
from litestar.testing import TestClient
from msgspec import structs

from advisor.facts.question import Question
from advisor.library import load_library
from advisor.notebook import Notebook, Sets
from advisor.notebook.connection import writing
from advisor.notebook.recording import trial_of
from advisor.notebook.rerun import answer_of
from advisor.notebook.sets import Entry
from advisor.notebook.store import row_of
from advisor.notebook.tables import trials
from advisor.notebook.totals import count
from advisor.service.app import Service, create_app
from advisor.service.settings import Settings
from advisor.service.weighing.tasks import TASKS

TRIAL = "5b0c3f6e-8a43-4c5e-9d5e-2f1d6a7c8b90"
"""Id of the trial of the examples."""
FOLDER = Path(__file__).parents[2] / "openapi" / "examples"
HASHES = ("hash", "rules", "version", "old_hash", "old_rules", "pack_hash", "data_version")
EVENT = re.compile("[0-9a-f]{12}-[0-9]+|[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")
"""Id of an event or a trial: another one each time."""
HASH = re.compile(r"\b[0-9a-f]{12}(?:[0-9a-f]{52})?\b")
"""A hash within a sentence."""
DIGITS = 6
"""Decimals of numbers that are compared: the last ones hang on the machine."""


def example_files() -> list[Path]:
    return sorted(FOLDER.glob("*.json"))


def answer_to(client: TestClient[Service], request: dict[str, Any]) -> dict[str, Any]:
    """Status, media type and body of the answer to a request."""
    sent: dict[str, Any] = {"json": request.get("body")}
    if "text" in request:
        sent = {"content": request["text"], "headers": {"content-type": request["media_type"]}}
    response = client.request(request["method"], request["path"], **sent)
    media_type = response.headers["content-type"]
    body = response.json() if media_type.endswith("json") else response.text
    return {"status": response.status_code, "media_type": media_type, "body": body}


def settled(value: Any) -> Any:
    """The answer without hashes, versions, times, event ids and what was kept, numbers to ``DIGITS`` decimals."""
    if isinstance(value, dict):
        return {
            k: settled(v) for k, v in value.items()
            if k not in ("kept", "seconds", "at", "time") and not (k in HASHES and isinstance(v, str))
            and not (k == "id" and EVENT.fullmatch(str(v)))
        }  # fmt: skip
    if isinstance(value, str):
        return HASH.sub("", value)
    if isinstance(value, float):
        return round(value, DIGITS) + 0.0
    return [settled(v) for v in value] if isinstance(value, list) else value


def noted(url: str) -> Settings:
    """Settings with a notebook at ``url``, in which a trial and two study sets are written."""
    question = TASKS["advice"].example
    library = load_library(engine="plain")
    pack = library.shelves["cold_frame"].pack
    entry = Entry(name="cinder knee, blocked", request=question)
    with Notebook(url) as notebook:
        trial = trial_of(
            pack, msgspec.convert(question, Question), response="putty_jab", reply=None, successes=9, tries=10,
            player="bea",
        )  # fmt: skip
        with writing(notebook.engine) as connection:
            row = row_of(trial, TRIAL)
            connection.execute(trials.insert().values(row))
            count(connection, row, 1)
        sets = Sets(notebook)
        sets.put("punishes", "what ends a block string", [structs.replace(entry, kept=answer_of(entry, library))])
        sets.put("wake-ups", "nothing in it yet", [])
    return Settings(workers=0, engine="plain", notebook=url, trials="ignore")


def main() -> None:
    """Ask every example again and write its answer where that has changed."""
    with TemporaryDirectory() as folder:
        app = create_app(noted(f"sqlite:///{folder}/notebook.sqlite"), load_library(engine="plain"))
        with TestClient(app) as client:
            write(client)


def write(client: TestClient[Service]) -> None:
    """Ask every example of this application."""
    for path in example_files():
        example = json.loads(path.read_text("utf-8"))
        answer = answer_to(client, example["request"])
        if settled(answer) != settled(example.get("answer")):
            text = json.dumps({**example, "answer": answer}, indent=1)
            path.write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
