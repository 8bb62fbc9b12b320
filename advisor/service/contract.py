"""The OpenAPI 3.1 document: the framework's paths, with our own schemas, parameters, links and errors laid over.

The framework's schemas lose bounds inside unions and say nothing of unknown fields. So the
components come from the library that does the decoding, and the two cannot disagree.
"""

from __future__ import annotations

import inspect
import json
from functools import cache
from pathlib import Path
from typing import Any

import msgspec
from litestar import Litestar
from litestar.di import Provide
from litestar.openapi.config import OpenAPIConfig

from advisor.service import wire
from advisor.service.move_form import MoveForm
from advisor.service.moves import Filter
from advisor.service.routes import ROUTES
from advisor.service.tasks import TASKS, Task

__all__ = ["contract", "main", "written"]

TYPES = (
    *(kind for task in TASKS.values() for kind in (task.request, task.answer)), wire.Problem, wire.Health,
    wire.PackPage, wire.PackInfo, wire.CharacterPage, wire.CharacterForm, wire.MovePage, MoveForm,
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
}
PARAMETERS = {"pack": "Pack id.", "character": "Character id.", "move": "Move id, or id of a system option."}
PLACES = {"pack": "cold_frame", "character": "wenna", "move": "putty_jab"}
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
        operation["responses"]["200"]["content"] = {"application/json": {"schema": schemas[task.answer]}}
    document["paths"] = dict(sorted(document["paths"].items()))
    return document


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

    app = Litestar(
        route_handlers=list(ROUTES),
        dependencies={
            "library": Provide(library, sync_to_thread=False),
            "desk": Provide(desk, sync_to_thread=False),
        },
        logging_config=None,
        openapi_config=OpenAPIConfig(title="Situation advisor for fighting games", version="1"),
    )
    document: dict[str, Any] = json.loads(json.dumps(app.openapi_schema.to_schema()))
    return document


def _complete(path: str, operation: dict[str, Any]) -> None:
    """Errors, links and descriptions of one operation."""
    key = operation["operationId"]
    done = operation["responses"]["200"]
    done["description"] = DONE[key]
    if key in LINKS:
        done["links"] = {
            name: {"operationId": target, "parameters": parameters} for name, (target, parameters) in LINKS[key].items()
        }
    errors = {**(BODY_ERRORS if path in TASK_PATHS else FOUND_ERRORS if "{" in path else READ_ERRORS), **OURS}
    operation["responses"] = {"200": done}
    for status, said in errors.items():
        operation["responses"][status] = {
            "description": said,
            "content": {"application/problem+json": {"schema": {"$ref": "#/components/schemas/Problem"}}},
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
