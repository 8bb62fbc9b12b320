"""Requests generated from the document, with every check of the generator: no operation and no check is left out.

Twice: from the document as it is committed, where most made-up ids are not found, and from one
narrowed to what the demo pack holds, as a client would narrow it, where every request has to succeed.
"""

from __future__ import annotations

import json
from functools import cache
from typing import Any

import schemathesis
from hypothesis import settings
from schemathesis.config import SchemathesisConfig

from advisor.library import Library, load_library
from advisor.service.app import Service, create_app
from advisor.service.contract import contract
from advisor.service.settings import Settings

GOOD = ["2xx", "3xx", "401", "403", "404", "409", "429", "5xx"]
CHARACTER = "wenna"


@cache
def library() -> Library:
    return load_library(engine="plain")


@cache
def app() -> Service:
    return create_app(Settings(workers=0), library())


def _narrowed() -> dict[str, Any]:
    """The document with ids of the demo pack only; both sides are one character, so every move fits the attacker."""
    document: dict[str, Any] = json.loads(json.dumps(contract()))
    pack = library().shelves["cold_frame"].pack
    moves = pack.characters[CHARACTER].moves
    options = {"type": "string", "enum": [*list(moves)[:6], "guard", "backdash"]}
    words = {
        "pack": ["cold_frame"], "character": [CHARACTER], "move": [*moves, *pack.system],
        "level": list(pack.conventions.levels), "tag": list(pack.conventions.tags),
    }  # fmt: skip
    for item in document["paths"].values():
        for operation in item.values():
            for parameter in operation["parameters"]:
                if parameter["name"] in words:
                    parameter["schema"] = {"type": "string", "enum": words[parameter["name"]]}
                    parameter.pop("examples", None)
    parts = document["components"]["schemas"]
    parts["Fighter"]["properties"]["character"] = {"type": "string", "enum": [CHARACTER]}
    attacks = [m.id for m in moves.values() if m.hits]
    for kind in ("Blocked", "HitLanded", "CounterHit", "Whiffed"):
        parts[kind]["properties"]["move"] = {"type": "string", "enum": attacks}
    question = parts["Question"]["properties"]
    question["pack"] = {"enum": ["cold_frame", None]}
    question["distance"] = {
        "anyOf": [{"type": "number", "minimum": 0, "maximum": 1000}, {"enum": [*pack.conventions.distances, None]}]
    }
    question["responses"] = {"type": "array", "items": options, "maxItems": 5}
    question["replies"] = {
        "anyOf": [{"type": "array", "items": options, "minItems": 1, "maxItems": 5}, {"enum": ["key", None]}]
    }
    body = document["paths"]["/v1/advice"]["post"]["requestBody"]["content"]["application/json"]
    body.pop("examples")
    return document


async def narrowed_app(scope: Any, receive: Any, send: Any) -> None:
    """The application, with the narrowed document in place of its own."""
    if scope["type"] == "http" and scope["path"] == "/v1/openapi.json":
        body = json.dumps(_narrowed()).encode()
        headers = [(b"content-type", b"application/json"), (b"content-length", str(len(body)).encode())]
        await send({"type": "http.response.start", "status": 200, "headers": headers})
        await send({"type": "http.response.body", "body": body})
    elif scope["type"] == "lifespan":
        for _ in range(2):
            told = (await receive())["type"]
            await send({"type": f"{told}.complete"})
    else:
        await app()(scope, receive, send)


def _config(mode: str, accepted: list[str]) -> SchemathesisConfig:
    return SchemathesisConfig.from_dict(
        {
            "generation": {"mode": mode, "max-examples": 80, "deterministic": True},
            "checks": {"positive_data_acceptance": {"expected-statuses": accepted}},
        }
    )


# That a question contradicts itself (422) or a pack lacks a level (400) is more than the document can tell.
committed = schemathesis.openapi.from_asgi("/v1/openapi.json", app(), config=_config("all", [*GOOD, "400", "422"]))
narrowed = schemathesis.openapi.from_asgi("/v1/openapi.json", narrowed_app, config=_config("positive", ["2xx"]))


@committed.parametrize()
def test_generated_requests(case: schemathesis.Case) -> None:
    case.call_and_validate()


@narrowed.parametrize()
def test_generated_requests_of_the_demo_pack(case: schemathesis.Case) -> None:
    case.call_and_validate()


def test_no_operation_is_left_out() -> None:
    declared = {(m.upper(), p) for p, item in contract()["paths"].items() for m in item}
    for schema in (committed, narrowed):
        assert {(o.ok().method.upper(), o.ok().path) for o in schema.get_all_operations()} == declared


class TestLinks(committed.as_state_machine().TestCase):  # type: ignore[misc]
    """Walks of several requests along the links of the answers."""

    settings = settings(max_examples=25, stateful_step_count=6, deadline=None, derandomize=True)
