"""The examples of ``openapi/examples``: one request and its answer a file; documentation and test in one.

``python tests/contract/example_files.py`` asks them again and writes the answers: read the difference.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from litestar.testing import TestClient

from advisor.service.app import Service

FOLDER = Path(__file__).parents[2] / "openapi" / "examples"
HASHES = ("hash", "rules", "version")
DIGITS = 6
"""Decimals of numbers that are compared: the last ones hang on the machine."""


def example_files() -> list[Path]:
    return sorted(FOLDER.glob("*.json"))


def answer_to(client: TestClient[Service], request: dict[str, Any]) -> dict[str, Any]:
    """Status, media type and body of the answer to a request."""
    response = client.request(request["method"], request["path"], json=request.get("body"))
    return {
        "status": response.status_code, "media_type": response.headers["content-type"], "body": response.json()
    }


def settled(value: Any) -> Any:
    """The answer without hashes, versions and what the cache kept, numbers to ``DIGITS`` decimals."""
    if isinstance(value, dict):
        return {
            k: settled(v) for k, v in value.items() if k != "kept" and not (k in HASHES and isinstance(v, str))
        }
    if isinstance(value, float):
        return round(value, DIGITS) + 0.0
    return [settled(v) for v in value] if isinstance(value, list) else value


def main() -> None:
    """Ask every example again and write its answer where that has changed."""
    from advisor.library import load_library
    from advisor.service.app import create_app
    from advisor.service.settings import Settings

    with TestClient(create_app(Settings(workers=0), load_library(engine="plain"))) as client:
        for path in example_files():
            example = json.loads(path.read_text("utf-8"))
            answer = answer_to(client, example["request"])
            if settled(answer) != settled(example.get("answer")):
                text = json.dumps({**example, "answer": answer}, indent=1)
                path.write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
