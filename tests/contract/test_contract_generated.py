"""Requests generated from the document, with every check of the generator: no operation is left out.

Twice: from the document as it is committed, where most made-up ids are not found, and from one
narrowed to what the demo pack holds, as a client would narrow it, where every request has to succeed.
"""

from __future__ import annotations

import json
import os
import re
from functools import cache
from typing import Any

import msgspec
import schemathesis
from hypothesis import settings
from schemathesis.config import SchemathesisConfig

from advisor.library import Library, load_library
from advisor.notebook import Notebook, notebook_url
from advisor.notebook.connection import writing
from advisor.notebook.tables import METADATA
from advisor.pack.model import Character
from advisor.service.app import Service, create_app
from advisor.service.contract import contract
from advisor.service.settings import Settings
from advisor.service.weighing.tasks import TASKS
from advisor.studies import STUDIES

GOOD = ["2xx", "3xx", "401", "403", "404", "409", "429", "5xx"]
CHARACTER = "wenna"


EXAMPLES = int(os.environ["FUZZ_EXAMPLES"])
"""Generated requests of each kind for an operation; a sixth of it for a study. `.ci/run` says how many."""
KEPT = 3
"""Moves of each kind that a character keeps: what is tested is the form of questions and answers, not their weight."""


@cache
def library() -> Library:
    """The demo pack with a few moves a character, those of the examples among them."""
    whole = load_library(engine="plain")
    shelf = whole.shelves["cold_frame"]
    characters = {key: _few(one) for key, one in shelf.pack.characters.items()}
    pack = msgspec.structs.replace(shelf.pack, characters=characters)
    return Library(shelves={"cold_frame": msgspec.structs.replace(shelf, pack=pack)}, default="cold_frame")


def _few(character: Character) -> Character:
    named = re.findall(r"\w+", json.dumps([task.example for task in TASKS.values()]))
    kinds: dict[tuple[str, bool], list[str]] = {}
    for move in character.moves.values():
        kinds.setdefault((move.kind, bool(move.wakes_from)), []).append(move.id)
    kept = {key for ids in kinds.values() for key in ids[:KEPT]} | character.moves.keys() & set(named)
    moves = {
        key: msgspec.structs.replace(move, follow_ups=tuple(f for f in move.follow_ups if f.move in kept))
        for key, move in character.moves.items()
        if key in kept
    }
    key_moves = tuple(k for k in character.key_moves if k in kept)
    return msgspec.structs.replace(character, moves=moves, key_moves=key_moves)


def _service() -> Service:
    """A service that finds the same few moves when it reads its data again."""
    made = create_app(Settings(workers=0, jobs=10_000, job_seconds=1), library())
    made.served.load = lambda _: library()
    return made


@cache
def app() -> Service:
    return _service()


@cache
def unstarted() -> Service:
    """A second one, for who has a lifespan of his own: the first takes no jobs once it was told to stop."""
    return _service()


def _narrowed() -> dict[str, Any]:
    """The document with ids of the demo pack only; both sides are one character, so every move fits the attacker."""
    document: dict[str, Any] = json.loads(json.dumps(contract()))
    words = _words()
    for item in document["paths"].values():
        for operation in item.values():
            for parameter in operation["parameters"]:
                if parameter["name"] in words:
                    parameter["schema"] = words[parameter["name"]]
                    parameter.pop("examples", None)
    parts = document["components"]["schemas"]
    for name in _asked(parts, [task.request.__name__ for task in TASKS.values()]):
        for field, form in parts[name].get("properties", {}).items():
            if field in words:
                parts[name]["properties"][field] = _as_wide(words[field], form)
    for task in TASKS.values():
        operations = document["paths"][task.path]
        for place in (operations["post"]["requestBody"], operations["get"]["parameters"][0]):
            place["content"]["application/json"].pop("examples")
    over_them = json.loads(json.dumps(parts["KnockedDown"]))
    over_them["properties"]["floored"] = {"enum": ["them"]}
    parts["SetupsRequest"]["properties"]["moment"] = over_them
    parts["DefenceRequest"]["properties"]["replies"] = words["moves"]
    return document


def _words() -> dict[str, dict[str, Any]]:
    """What may stand in a field or parameter of this name."""
    pack = library().shelves["cold_frame"].pack
    moves = pack.characters[CHARACTER].moves
    attacks = [m.id for m in moves.values() if m.hits]
    options = {"type": "array", "items": {"enum": [*attacks[:4], "guard", "backdash"]}, "maxItems": 5}
    named = {"enum": list(pack.conventions.distances)}
    guards = [m.id for m in pack.system.values() if m.kind == "guard" and m.guard]
    walks = [m.id for m in pack.system.values() if m.kind == "movement" and m.total is not None]
    parries = [m.id for m in moves.values() if m.parry]
    return {
        "pack": {"enum": ["cold_frame"]},
        "character": {"enum": [CHARACTER]},
        "channel": {"enum": ["main-stage", "b_2"]},
        "follow": {"enum": ["no"]},
        "move": {"enum": attacks},
        "level": {"enum": list(pack.conventions.levels)},
        "tag": {"enum": list(pack.conventions.tags)},
        "state": {"enum": list(pack.conventions.knockdowns)},
        "distance": {"anyOf": [{"type": "number", "minimum": 0, "maximum": 1000}, named]},
        "responses": options,
        "moves": {"type": "array", "items": {"enum": attacks[:4]}, "minItems": 1, "maxItems": 3, "uniqueItems": True},
        "string": {"type": "null"},
        "guards": {"type": "array", "items": {"enum": guards}, "minItems": 1, "uniqueItems": True},
        "actions": {"type": "array", "items": {"enum": walks}, "minItems": 1, "uniqueItems": True},
        "last": {"type": "array", "items": {"enum": attacks[:4]}, "minItems": 1, "uniqueItems": True},
        "answers": options,
        "parry": {"enum": parries},
        "option": {"enum": attacks},
        "reply": {"enum": [*attacks[:4], "guard", "backdash"]},
        "starter": {"enum": attacks},
        "replies": {"anyOf": [{**options, "minItems": 1}, {"enum": ["key"]}]},
    }


def _asked(parts: dict[str, Any], names: list[str]) -> set[str]:
    """The schemas that requests are made of."""
    found: set[str] = set()
    while names:
        name = names.pop()
        if name not in found:
            found.add(name)
            names += re.findall(r"#/components/schemas/([\w.]+)", json.dumps(parts[name]))
    return found


def _as_wide(form: dict[str, Any], before: dict[str, Any]) -> dict[str, Any]:
    """The form without the words that could not stand there before, and with null where that could."""
    branches = before.get("anyOf", [before])
    worded = any("enum" in b or b.get("type") == "string" for b in branches)
    if "anyOf" in form and not worded:
        form = form["anyOf"][0]
    return {"anyOf": [form, {"type": "null"}]} if any(b.get("type") == "null" for b in branches) else form


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
        await unstarted()(scope, receive, send)


ONE_OF_SEVERAL = ("beats", "lab_list")
"""Studies that have to be given one of several fields (400 when none is), which the document cannot tell."""


def _config(mode: str, accepted: list[str]) -> SchemathesisConfig:
    def of_studies(names: list[str], more: list[str]) -> dict[str, Any]:
        return {
            "include-path": [TASKS[name].path for name in names],
            "generation": {"mode": mode, "max-examples": max(2, EXAMPLES // 6), "deterministic": True},
            "checks": {"positive_data_acceptance": {"expected-statuses": [*accepted, *more]}},
        }

    # What a study cannot weigh (422) and what the character does not have (404) is more than the document can tell.
    studies = [
        of_studies([name for name in STUDIES if name not in ONE_OF_SEVERAL], ["404", "422"]),
        of_studies(list(ONE_OF_SEVERAL), ["400", "404", "422"]),
    ]
    # Ids are random (404); a job may be looked at before, or after, it has an answer (409, 422), and
    # a cancelled one is still there to be looked at, which the check of use after deletion takes for a mistake.
    jobs = {
        "include-path": ["/v1/jobs", "/v1/jobs/{job}", "/v1/jobs/{job}/answer"],
        "generation": {"mode": mode, "max-examples": max(2, EXAMPLES // 6), "deterministic": True},
        "checks": {
            "positive_data_acceptance": {"expected-statuses": [*accepted, "404", "409", "422"]},
            "use_after_free": {"enabled": False},
        },
    }
    # A channel may show nothing (404).
    channels = {
        "include-path": ["/v1/live/{channel}"],
        "checks": {"positive_data_acceptance": {"expected-statuses": [*accepted, "404"]}},
    }
    # Names are random (404) or there by now (409); what is counted, asked or drawn up may be none (400, 422).
    notes = {
        "include-path": [path for path in contract()["paths"] if re.match("/v1/(trials|sets|compare)", path)],
        "generation": {"mode": mode, "max-examples": max(2, EXAMPLES // 3), "deterministic": True},
        "checks": {"positive_data_acceptance": {"expected-statuses": [*accepted, "400", "404", "409", "422"]}},
    }
    # Nothing was started here, and the service says so (503).
    ready = {
        "include-path": ["/v1/health/ready"],
        "checks": {
            "positive_data_acceptance": {"expected-statuses": [*accepted, "503"]},
            "not_a_server_error": {"expected-statuses": ["2xx", "4xx", "503"]},
        },
    }
    return SchemathesisConfig.from_dict(
        {
            "generation": {"mode": mode, "max-examples": EXAMPLES, "deterministic": True},
            "checks": {"positive_data_acceptance": {"expected-statuses": accepted}},
            "operations": [*studies, jobs, channels, notes, ready],
        }
    )


@schemathesis.serializer("application/jsonl")
def as_lines(_: object, value: Any) -> bytes:
    """JSON Lines are sent as they are."""
    return value.encode("utf-8", "surrogatepass") if isinstance(value, str) else json.dumps(value).encode()


# That a question contradicts itself (422) or a pack lacks a level (400) is more than the document can tell.
committed = schemathesis.openapi.from_asgi("/v1/openapi.json", app(), config=_config("all", [*GOOD, "400", "422"]))
narrowed = schemathesis.openapi.from_asgi("/v1/openapi.json", narrowed_app, config=_config("positive", ["2xx"]))


COARSE, FINEST = 4, 60
"""Steps of health of a generated round, and the most that a request may ask for."""


def coarse(case: schemathesis.Case) -> schemathesis.Case:
    """The same request with few steps in a round: its form is tested, not its weight; what is wrong stays wrong."""
    body, asked = case.body, None
    if case.operation.method.upper() == "GET" and isinstance(case.query, dict):
        asked = _read(case.query.get("question"))
    rounds = [body, asked] if case.operation.path == "/v1/round" else []
    if isinstance(body, dict):
        rounds += [body.get("round"), body.get("request") if body.get("study") == "round" else None]
    if isinstance(asked, dict):
        rounds.append(asked.get("round"))
    for part in rounds:
        steps = part.get("steps") if isinstance(part, dict) else None
        if isinstance(steps, int) and COARSE < steps <= FINEST:
            part["steps"] = COARSE
            if asked is not None:
                case.query["question"] = json.dumps(asked)
    return case


def _read(text: Any) -> Any:
    try:
        return json.loads(text)
    except (TypeError, ValueError):
        return None


@committed.parametrize()
def test_generated_requests(case: schemathesis.Case) -> None:
    coarse(case).call_and_validate()


@narrowed.parametrize()
def test_generated_requests_of_the_demo_pack(case: schemathesis.Case) -> None:
    coarse(case).call_and_validate()


def test_no_operation_is_left_out() -> None:
    declared = {(m.upper(), p) for p, item in contract()["paths"].items() for m in item}
    for schema in (committed, narrowed):
        assert {(o.ok().method.upper(), o.ok().path) for o in schema.get_all_operations()} == declared


class Walk(committed.as_state_machine()):  # type: ignore[misc]
    """Requests of a walk, made as small as the others."""

    def setup(self) -> None:
        """Every walk begins with an empty notebook: what is there decides where links lead."""
        with Notebook(notebook_url()) as notebook, writing(notebook.engine) as connection:
            for table in reversed(METADATA.sorted_tables):
                connection.execute(table.delete())

    def before_call(self, case: schemathesis.Case) -> None:
        coarse(case)


class TestLinks(Walk.TestCase):  # type: ignore[misc]
    """Walks of several requests along the links of the answers."""

    settings = settings(max_examples=25, stateful_step_count=6, deadline=None, derandomize=True)
