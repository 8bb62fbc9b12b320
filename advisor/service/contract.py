"""The OpenAPI 3.1 document: the framework's paths, with our own schemas, parameters, links and errors laid over.

The framework's schemas lose bounds inside unions and say nothing of unknown fields. So the
components come from the library that does the decoding, and the two cannot disagree.
"""

from __future__ import annotations

import inspect
import json
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

import msgspec
from litestar import Litestar
from litestar.di import Provide
from litestar.openapi.config import OpenAPIConfig

from advisor.service import job_wire, wire
from advisor.service.move_form import MoveForm
from advisor.service.moves import Filter
from advisor.service.routes import ROUTES
from advisor.service.tasks import TASKS, Task

__all__ = ["contract", "main", "written"]

TYPES = (
    *(kind for task in TASKS.values() for kind in (task.request, task.answer)), wire.Problem, wire.Health,
    wire.PackPage, wire.PackInfo, wire.CharacterPage, wire.CharacterForm, wire.MovePage, MoveForm,
    job_wire.JobRequest, job_wire.Job, job_wire.JobPage,
)
TASK_PATHS = frozenset(task.path for task in TASKS.values())
NOTE = (
    "Ranked responses to a situation of a fighting game, with the reasoning attached. Hints are for study, replays, "
    "casting and practice; rules on live help in competition are the organiser's and the game's, and come first."
)
DONE = {
    **{task.operation: "The answer." for task in TASKS.values()},
    "advise": "Ranked responses, best first.",
    "listPacks": "All loaded packs.",
    "getPack": "The pack.",
    "listCharacters": "All characters of the pack, in its order.",
    "getCharacter": "The character.",
    "listMoves": "One page of the moves that meet the bounds.",
    "getMove": "The move.",
    "live": "It is alive.",
    "submitJob": "It is queued.",
    "listJobs": "The jobs, the oldest first.",
    "getJob": "The job.",
    "getJobAnswer": "The answer, as the route of the study would give it.",
    "cancelJob": "The job: cancelled, unless it was over before.",
}
PARAMETERS = {
    "pack": "Pack id.", "character": "Character id.", "move": "Move id, or id of a system option.",
    "job": "Job id.",
}
PLACES = {"pack": "cold_frame", "character": "wenna", "move": "putty_jab", "job": "kept_by_who_submitted_it"}
NOT_ACCEPTABLE = {"406": "The caller takes no JSON."}
BODY_ERRORS = {
    "400": "The body is not what it should be.",
    "404": "The pack, character, move, option, distance or knockdown state is not known.",
    **NOT_ACCEPTABLE,
    "413": "The body is too large.",
    "415": "The body is not JSON.",
    "422": "The question contradicts itself.",
}
READ_ERRORS = {"400": "The request is malformed.", **NOT_ACCEPTABLE}
FOUND_ERRORS = {**READ_ERRORS, "404": "The pack, character or move is not known."}
OURS = {"500": "The fault is ours."}
JOB_FOUND_ERRORS = {**READ_ERRORS, "404": "The job is not known, or was dropped since."}
JOB_ERRORS = {
    "submitJob": {**BODY_ERRORS, "503": "There is no room for another job."},
    "getJob": JOB_FOUND_ERRORS,
    "cancelJob": JOB_FOUND_ERRORS,
    "getJobAnswer": {
        **JOB_FOUND_ERRORS, "406": "The caller takes none of the forms of the answer.",
        "409": "The job is not over, or was cancelled.", "422": "The job failed: it took too long, or was refused.",
    },
}
"""Errors of the operations on jobs, which differ from those of the rest."""
HEADERS = {
    ("submitJob", "202"): {"Location": ("Path of the job.", "string")},
    ("submitJob", "503"): {"Retry-After": ("Seconds after which to try again.", "integer")},
}
"""Headers of an answer: what each says, and its type."""

_BODY = "$response.body#"
_PACK, _CHARACTER = {"pack": f"{_BODY}/pack"}, {"character": f"{_BODY}/character"}
LINKS: dict[str, dict[str, tuple[str, dict[str, str]]]] = {
    "listPacks": {
        "firstPack": ("getPack", {"pack": f"{_BODY}/packs/0/id"}),
        "charactersOfFirst": ("listCharacters", {"pack": f"{_BODY}/packs/0/id"}),
    },
    "getPack": {
        "characters": ("listCharacters", {"pack": f"{_BODY}/id"}),
        "firstCharacter": ("getCharacter", {"pack": f"{_BODY}/id", "character": f"{_BODY}/characters/0"}),
    },
    "listCharacters": {
        "firstCharacter": ("getCharacter", {**_PACK, "character": f"{_BODY}/characters/0/id"}),
        "movesOfFirst": ("listMoves", {**_PACK, "character": f"{_BODY}/characters/0/id"}),
    },
    "getCharacter": {
        "moves": ("listMoves", {**_PACK, "character": f"{_BODY}/id"}),
        "firstMove": ("getMove", {**_PACK, "character": f"{_BODY}/id", "move": f"{_BODY}/moves/0"}),
    },
    "listMoves": {"firstMove": ("getMove", {**_PACK, **_CHARACTER, "move": f"{_BODY}/moves/0/id"})},
    "getMove": {"character": ("getCharacter", {**_PACK, **_CHARACTER})},
    "submitJob": {name: (name, {"job": f"{_BODY}/id"}) for name in ("getJob", "getJobAnswer", "cancelJob")},
    "cancelJob": {"getJob": ("getJob", {"job": f"{_BODY}/id"})},
}
"""Which operation an answer leads to: operation id, link name, (operation id, parameters)."""


@cache
def contract() -> dict[str, Any]:
    """The document of the routes."""
    document = _of_framework()
    references, components = msgspec.json.schema_components(
        (*TYPES, Filter), ref_template="#/components/schemas/{name}"
    )
    schemas = dict(zip(TYPES, references, strict=False))
    bounds = components.pop("Filter")["properties"]
    for schema in components.values():
        # Interpreters differ in how they indent what a docstring holds.
        if "description" in schema:
            schema["description"] = inspect.cleandoc(schema["description"])
    document["components"] = {"schemas": dict(sorted(components.items()))}
    document["info"]["description"] = NOTE
    document.pop("servers", None)
    for path, item in document["paths"].items():
        for operation in item.values():
            _complete(path, operation)
    document["paths"]["/v1/packs/{pack}/characters/{character}/moves"]["get"]["parameters"] += [
        _query(name, schema) for name, schema in bounds.items()
    ]
    for task in TASKS.values():
        operation = document["paths"][task.path]["post"]
        operation["requestBody"] = _body(task, schemas[task.request])
        operation["responses"]["200"]["content"] = {
            "application/json": {"schema": schemas[task.answer]},
            **{form: _picture(form) for form in task.pictures},
        }
        if task.pictures:
            operation["responses"]["406"]["description"] = "The caller takes none of the forms of the answer."
    _complete_jobs(document["paths"], schemas)
    document["paths"] = dict(sorted(document["paths"].items()))
    return document


def _picture(media_type: str) -> dict[str, Any]:
    """What the document says of a picture: text when it is XML, else bytes, which have no schema (OpenAPI 3.1)."""
    return {"schema": {"type": "string"}} if media_type.endswith("xml") else {}


def _complete_jobs(paths: dict[str, Any], schemas: Mapping[Any, Any]) -> None:
    """What a job is made of, and the answers that it may have."""
    example = {"summary": "A study as a job", "value": job_wire.JOB_EXAMPLE}
    paths["/v1/jobs"]["post"]["requestBody"] = {
        "required": True,
        "description": "The study, and what its own route takes.",
        "content": {"application/json": {"schema": schemas[job_wire.JobRequest], "examples": {"demo": example}}},
    }
    long = [TASKS[name] for name in job_wire.LONG]
    paths["/v1/jobs/{job}/answer"]["get"]["responses"]["200"]["content"] = {
        "application/json": {"schema": {"anyOf": [schemas[task.answer] for task in long]}},
        **{form: _picture(form) for task in long for form in task.pictures},
    }


def _body(task: Task, schema: dict[str, Any]) -> dict[str, Any]:
    """What is sent to a task, with its example."""
    example = {"summary": task.summary, "value": task.example}
    return {
        "required": True,
        "description": "The state of the game, and what to weigh.",
        "content": {"application/json": {"schema": schema, "examples": {"demo": example}}},
    }


def _of_framework() -> dict[str, Any]:
    """What the framework says of the routes; an application of its own, so the served one has no pages beside ours."""

    def library() -> None:
        """Never called: only the names count here."""

    def desk() -> None:
        """Never called: only the names count here."""

    def jobs() -> None:
        """Never called: only the names count here."""

    app = Litestar(
        route_handlers=list(ROUTES),
        dependencies={
            "library": Provide(library, sync_to_thread=False),
            "desk": Provide(desk, sync_to_thread=False),
            "jobs": Provide(jobs, sync_to_thread=False),
        },
        logging_config=None,
        openapi_config=OpenAPIConfig(title="Situation advisor for fighting games", version="1"),
    )
    document: dict[str, Any] = json.loads(json.dumps(app.openapi_schema.to_schema()))
    return document


def _complete(path: str, operation: dict[str, Any]) -> None:
    """Errors, links and descriptions of one operation."""
    key = operation["operationId"]
    success = next(status for status in operation["responses"] if status.startswith("2"))
    done = operation["responses"][success]
    done["description"] = DONE[key]
    if key in LINKS:
        done["links"] = {
            name: {"operationId": target, "parameters": parameters} for name, (target, parameters) in LINKS[key].items()
        }
    usual = BODY_ERRORS if path in TASK_PATHS else FOUND_ERRORS if "{" in path else READ_ERRORS
    errors = {**JOB_ERRORS.get(key, usual), **OURS}
    operation["responses"] = {success: done}
    for status, said in errors.items():
        operation["responses"][status] = {
            "description": said,
            "content": {"application/problem+json": {"schema": {"$ref": "#/components/schemas/Problem"}}},
        }
    for status, response in operation["responses"].items():
        if headers := HEADERS.get((key, status)):
            response["headers"] = {
                name: {"description": said, "required": True, "schema": {"type": kind}}
                for name, (said, kind) in headers.items()
            }
    for parameter in operation.setdefault("parameters", []):
        name = parameter["name"]
        parameter.pop("deprecated", None)
        parameter["description"] = PARAMETERS[name]
        parameter["schema"] = {"type": "string", "minLength": 1}
        parameter["examples"] = {"demo": {"value": PLACES[name]}}
    operation.pop("deprecated", None)


def _query(name: str, schema: dict[str, Any]) -> dict[str, Any]:
    """A query parameter of a bound; its description stands beside the schema."""
    rest = {k: v for k, v in schema.items() if k != "description"}
    return {
        "name": name, "in": "query", "required": False, "description": schema["description"], "schema": rest,
    }


def written() -> str:
    """The document as it is committed."""
    return json.dumps(contract(), indent=1, sort_keys=True) + "\n"


def main() -> None:
    """Write ``openapi/openapi.json`` of the checkout."""
    target = Path(__file__).resolve().parents[2] / "openapi" / "openapi.json"
    target.write_text(written(), encoding="utf-8")


if __name__ == "__main__":
    main()
