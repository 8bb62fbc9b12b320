"""The JSON Schemas of pack files: sound, as strict as the loader, and committed as generated.

Outside checks: the JSON Schema 2020-12 meta-schema as published at json-schema.org (carried by the
package jsonschema-specifications).
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator  # type: ignore[import-untyped]

from advisor.documents import parse_document
from advisor.pack.schema import FILES, character_schema, pack_schema, shown_schema, write_schemas
from tests.unit.pack.fault_cases import CASES, C, Case
from tests.unit.pack.pack_folder import CHARACTER, PACK, spoiled

OPENAPI = Path(__file__).resolve().parents[3] / "openapi"
MAKERS = [pack_schema, character_schema]

# Codes of faults of form: those that a schema can see too.
FORM = {"key-unknown", "key-missing", "type-wrong", "out-of-range", "text-too-long", "text-empty"}
FORM |= {"list-too-short", "list-too-long", "id-not-slug"}


def data(text: str) -> Any:
    return parse_document(text.encode(), "test").value


@pytest.mark.parametrize("make", MAKERS)
def test_it_is_a_schema_of_2020_12(make: Callable[[], dict[str, Any]]) -> None:
    schema = make()
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert schema["$id"] and schema["title"]
    Draft202012Validator.check_schema(schema)


@pytest.mark.parametrize("make", MAKERS)
def test_every_block_refuses_unknown_keys_and_every_key_is_explained(
    make: Callable[[], dict[str, Any]],
) -> None:
    schema = make()
    for block in [schema, *schema["$defs"].values()]:
        assert block["additionalProperties"] is False
        for key, part in block["properties"].items():
            assert len(part.get("description", "")) > 10, key


def test_it_takes_the_good_files() -> None:
    Draft202012Validator(pack_schema()).validate(data(PACK))
    Draft202012Validator(character_schema()).validate(data(CHARACTER))


@pytest.mark.parametrize("value", ["null", "unknown"])
def test_it_takes_the_ways_to_write_unknown(value: str) -> None:
    text = spoiled(CHARACTER, "airborne: [3, 5]", f"airborne: {value}").replace(
        "health: 180", f"health: {value}"
    )
    Draft202012Validator(character_schema()).validate(data(text))


def form_cases() -> list[Case]:
    whole = {"blank name"}
    return [case for case in CASES if case.code in FORM and case.name not in whole]


@pytest.mark.parametrize("case", form_cases(), ids=lambda case: case.name)
def test_it_refuses_what_the_loader_refuses_in_form(case: Case) -> None:
    text, schema = (CHARACTER, character_schema()) if case.file == C else (PACK, pack_schema())
    assert not Draft202012Validator(schema).is_valid(data(spoiled(text, case.old, case.new)))


@pytest.mark.parametrize("windows", ["[3, 5, 7]", "[held, 5]", "[[3, 5], 7]", "[[3, 5], [held, 9]]"])
def test_it_tells_windows_exactly(windows: str) -> None:
    text = spoiled(CHARACTER, "airborne: [3, 5]", f"airborne: {windows}")
    assert not Draft202012Validator(character_schema()).is_valid(data(text))


@pytest.mark.parametrize("name", FILES)
def test_the_committed_file_is_the_generated_one(name: str) -> None:
    committed = (OPENAPI / name).read_text(encoding="utf-8")
    assert committed == shown_schema(FILES[name]()), "run `python -m advisor.pack.schema`"


def test_writing_writes_every_file(tmp_path: Path) -> None:
    paths = write_schemas(tmp_path / "new")
    assert sorted(path.name for path in paths) == sorted(FILES)
    for path in paths:
        assert json.loads(path.read_text(encoding="utf-8")) == FILES[path.name]()
