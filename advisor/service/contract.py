"""The OpenAPI 3.1 document: the framework's paths, with our own schemas, parameters, links and errors laid over.

The framework's schemas lose bounds inside unions and say nothing of unknown fields. So the
components come from the library that does the decoding, and the two cannot disagree.
"""

from __future__ import annotations

import inspect
import json
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import msgspec
from litestar import Litestar
from litestar.di import Provide
from litestar.handlers import HTTPRouteHandler
from litestar.openapi.config import OpenAPIConfig

from advisor.service.access.described import COMPONENTS, describe_access
from advisor.service.groups import GIVEN, GROUPS
from advisor.service.operations import OURS, Body, Operations
from advisor.service.wire import Problem

__all__ = ["contract", "main", "written"]

NOTE = (
    "Ranked responses to a situation of a fighting game, with the reasoning attached. Hints are for study, replays, "
    "casting and practice; rules on live help in competition are the organiser's and the game's, and come first."
)


@cache
def contract() -> dict[str, Any]:
    """The document of the routes."""
    document = _of_framework()
    types = list(dict.fromkeys([Problem, *(kind for group in GROUPS for kind in _types(group))]))
    queries = list(dict.fromkeys(kind for group in GROUPS for kind in group.queries.values()))
    references, components = msgspec.json.schema_components(
        (*types, *queries), ref_template="#/components/schemas/{name}"
    )
    schemas: dict[Any, dict[str, Any]] = dict(zip(types, references, strict=False))
    asked = {kind: components.pop(kind.__name__) for kind in queries}
    for schema in components.values():
        # Interpreters differ in how they indent what a docstring holds.
        if "description" in schema:
            schema["description"] = inspect.cleandoc(schema["description"])
    document["components"] = {"schemas": dict(sorted(components.items())), **COMPONENTS}
    document["info"]["description"] = NOTE
    document.pop("servers", None)
    group_of = {str(route.operation_id): group for group in GROUPS for route in _shown(group)}
    needs = {str(route.operation_id): str(route.opt["needs"]) for group in GROUPS for route in _shown(group)}
    for path, item in document["paths"].items():
        for operation in item.values():
            key = operation["operationId"]
            _complete(operation, group_of[key], schemas)
            describe_access(operation, path, needs[key], schemas[Problem])
            if asked_here := group_of[key].asked.get(key):
                operation["parameters"].append(_question(asked_here, schemas))
            if query := group_of[key].queries.get(key):
                required = set(asked[query].get("required", ()))
                operation["parameters"] += [
                    _query(name, schema, name in required) for name, schema in asked[query]["properties"].items()
                ]
    document["paths"] = dict(sorted(document["paths"].items()))
    return document


def _shown(group: Operations) -> list[HTTPRouteHandler]:
    """The routes of the group that the document lists: OpenAPI has no words for a socket."""
    return [r for r in group.routes if isinstance(r, HTTPRouteHandler) and r.include_in_schema is not False]


def _types(group: Operations) -> list[Any]:
    """Every type that the group's bodies and answers name."""
    forms = [form for answer in group.answers.values() for form in answer.values()]
    named = [form for form in forms if form is not None and not isinstance(form, dict)]
    return [*group.types, *(body.type for body in group.bodies.values()), *named]


def _body(body: Body, schemas: dict[Any, dict[str, Any]]) -> dict[str, Any]:
    """What is sent to an operation, with its example."""
    example = {"summary": body.summary, "value": body.example}
    return {
        "required": True,
        "description": body.description,
        "content": {body.media_type: {"schema": schemas[body.type], "examples": {"demo": example}}},
    }


def _question(body: Body, schemas: dict[Any, dict[str, Any]]) -> dict[str, Any]:
    """A query parameter that holds, as JSON, what may be sent as a body."""
    told = _body(body, schemas)
    return {"name": "question", "in": "query", **told}


def _form(form: Any, schemas: dict[Any, dict[str, Any]]) -> dict[str, Any]:
    """One form of an answer: of a type, by a schema, or bytes, which have none (OpenAPI 3.1)."""
    if form is None:
        return {}
    return {"schema": form if isinstance(form, dict) else schemas[form]}


def _of_framework() -> dict[str, Any]:
    """What the framework says of the routes; an application of its own, so the served one has no pages beside ours."""

    app = Litestar(
        route_handlers=[route for group in GROUPS for route in group.routes],
        dependencies={name: Provide(_never(), sync_to_thread=False) for name in GIVEN},
        logging_config=None,
        openapi_config=OpenAPIConfig(title="Situation advisor for fighting games", version="1"),
    )
    document: dict[str, Any] = json.loads(json.dumps(app.openapi_schema.to_schema()))
    return document


def _never() -> Callable[[], None]:
    """A provider of its own for each name; it is never called, only the names count here."""

    def given() -> None:
        """Nothing is given."""

    return given


def _complete(operation: dict[str, Any], group: Operations, schemas: dict[Any, dict[str, Any]]) -> None:
    """Body, forms, errors, links and descriptions of one operation."""
    key = operation["operationId"]
    success = next(status for status in operation["responses"] if status.startswith("2"))
    done = operation["responses"][success]
    done["description"] = group.done[key]
    if key in group.bodies:
        operation["requestBody"] = _body(group.bodies[key], schemas)
    if key in group.answers:
        done["content"] = {media_type: _form(form, schemas) for media_type, form in group.answers[key].items()}
    if key in group.links:
        done["links"] = {
            name: {"operationId": target, "parameters": dict(parameters)}
            for name, (target, parameters) in group.links[key].items()
        }
    operation["responses"] = {success: done}
    if key in group.unchanged:
        operation["responses"]["304"] = {"description": group.unchanged[key]}
    for status, said in sorted({**group.errors[key], **OURS}.items()):
        operation["responses"][status] = {
            "description": said,
            "content": {"application/problem+json": {"schema": schemas[group.problems.get((key, status), Problem)]}},
        }
    for status, response in operation["responses"].items():
        if headers := group.headers.get((key, status)):
            response["headers"] = {
                name: {"description": said, "required": True, "schema": {"type": kind}}
                for name, (said, kind) in headers.items()
            }
    for parameter in operation.setdefault("parameters", []):
        said, example = group.parameters[parameter["name"]]
        parameter.pop("deprecated", None)
        parameter["description"] = said
        parameter["schema"] = {"type": "string", "minLength": 1}
        if pattern := group.patterns.get(parameter["name"]):
            parameter["schema"]["pattern"] = pattern
        parameter["examples"] = {"demo": {"value": example}}
    operation.pop("deprecated", None)


def _query(name: str, schema: dict[str, Any], required: bool) -> dict[str, Any]:
    """A query parameter; its description stands beside the schema."""
    rest = {k: v for k, v in schema.items() if k != "description"}
    return {
        "name": name, "in": "query", "required": required, "description": schema["description"], "schema": rest,
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
