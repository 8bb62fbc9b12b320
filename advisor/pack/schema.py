"""JSON Schemas (2020-12) of the files of a pack, for editors: completion, hints, marks on faults.

They are made from the written Structs; ``python -m advisor.pack.schema`` writes them to ``openapi/``.
They check form only; what words mean to each other is the loader's business.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import msgspec

from advisor.pack.written import WrittenCharacter, WrittenPack
from advisor.pack.written_move import MAX_FRAME, MAX_WINDOWS, SLUG

__all__ = ["FILES", "character_schema", "pack_schema", "shown_schema", "write_schemas"]

DIALECT = "https://json-schema.org/draft/2020-12/schema"
FRAME = {"type": "integer", "minimum": 1, "maximum": MAX_FRAME}
WINDOW = {
    "type": "array",
    "title": "a window [first, last]",
    "prefixItems": [FRAME, {"anyOf": [FRAME, {"enum": ["held"]}]}],
    "items": False,
    "minItems": 2,
    "maxItems": 2,
}
WINDOWS = {"type": "array", "items": WINDOW, "minItems": 1, "maxItems": MAX_WINDOWS}
FORMS: dict[str, dict[str, Any]] = {"window": WINDOW, "windows": {"anyOf": [WINDOW, WINDOWS]}}


def pack_schema() -> dict[str, Any]:
    """The schema of ``pack.yaml``."""
    return _schema(WrittenPack, "urn:advisor:schema:pack", "A pack: one game's conventions")


def character_schema() -> dict[str, Any]:
    """The schema of ``characters/<id>.yaml``."""
    return _schema(WrittenCharacter, "urn:advisor:schema:character", "A character and its moves")


FILES = {"pack.schema.json": pack_schema, "character.schema.json": character_schema}
"""Name of each committed file in ``openapi/``, and what makes it."""


def _schema(form: type[Any], identifier: str, title: str) -> dict[str, Any]:
    _, parts = msgspec.json.schema_components((form,), ref_template="#/$defs/{name}")
    shown = {name: _reworked(part) for name, part in parts.items()}
    root = shown.pop(form.__name__)
    head = {"$schema": DIALECT, "$id": identifier, **root, "title": title}
    return {**head, "$defs": dict(sorted(shown.items()))}


def _reworked(part: Any) -> Any:
    """A part of a schema with windows told exactly and ids as keys held to the form of ids."""
    if isinstance(part, list):
        return [_reworked(one) for one in part]
    if not isinstance(part, dict):
        return part
    if "x-form" in part:
        kept = {"description": part["description"]} if "description" in part else {}
        return {**FORMS[part["x-form"]], **kept}
    done = {key: _reworked(one) for key, one in part.items()}
    if isinstance(part.get("additionalProperties"), dict):
        done["propertyNames"] = {"pattern": SLUG}
    return done


def shown_schema(schema: dict[str, Any]) -> str:
    """The text of a committed schema file."""
    return json.dumps(schema, indent=2) + "\n"


def write_schemas(folder: Path) -> list[Path]:
    """Write every schema file into ``folder``; the paths written."""
    folder.mkdir(parents=True, exist_ok=True)
    paths = [folder / name for name in FILES]
    for path in paths:
        path.write_text(shown_schema(FILES[path.name]()), encoding="utf-8")
    return paths


if __name__ == "__main__":
    for written in write_schemas(Path(__file__).resolve().parents[2] / "openapi"):
        print(written)
