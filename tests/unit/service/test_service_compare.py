"""Two versions compared over HTTP: loaded ones and files of the caller's, and what is not taken from a caller."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from litestar.testing import TestClient
from test_service_bodies import question

from advisor.library import Library, bundled_rules
from advisor.service.app import Service, create_app
from advisor.service.settings import Settings

Client = TestClient[Service]
HERE = {"pack": "cold_frame"}
FOLDER = bundled_rules() / "packs" / "cold_frame"
FILES = {
    str(path.relative_to(FOLDER)): path.read_text("utf-8")
    for path in [FOLDER / "pack.yaml", *(FOLDER / "characters").glob("*.yaml")]
}
PUNISH = {"old": HERE, "new": HERE, "character": "wenna"}


@pytest.fixture(scope="module")
def client(library: Library, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Client]:
    url = f"sqlite:///{tmp_path_factory.mktemp('notes') / 'notebook.sqlite'}"
    with TestClient(create_app(Settings(workers=0, engine="plain", notebook=url), library)) as client:
        yield client


def compared(client: Client, **changes: Any) -> Any:
    return client.post("/v1/compare", json={"old": HERE, "new": HERE, **changes})


def changed(file: str, before: str, after: str) -> dict[str, str]:
    assert before in FILES[file]
    return {**FILES, file: FILES[file].replace(before, after, 1)}


def test_the_same_files_are_the_same_pack(client: Client) -> None:
    found = compared(client, new={"files": FILES}).json()
    assert found["same"] and found["before"] == found["after"]


def test_files_may_hold_anything_but_paths_and_rules(client: Client) -> None:
    tricks = (
        "../x.yaml", "/etc/passwd", "characters/../../x.yaml", "./rules/a/b.yaml", "Rules/a/b.yaml",
        "characters\\x.yaml", "a\0b", "characters/", "~/x.yaml",
    )  # fmt: skip
    response = compared(client, new={"files": {**FILES, **dict.fromkeys(tricks, "id: 1")}})
    problem = response.json()
    assert (response.status_code, problem["code"], problem["pointer"]) == (422, "files-faulty", "/new/files")
    assert problem["detail"].startswith(f"{len(tricks)} fault(s)") and all(path in problem["detail"] for path in tricks)
    for path in ("rules/a/b.yaml", "rules/../../x.yaml"):
        refused = compared(client, old={"files": {**FILES, path: "x"}})
        assert (refused.status_code, refused.json()["pointer"]) == (400, "/old/files")
        assert "rules are not taken from callers" in refused.json()["detail"]


@pytest.mark.parametrize(
    "text", ["", "[" * 3_000, "a: &a [x]\nb: *a\n", "!!python/object:os.system x", "id: \x00", "{", "id: [1, 2"]
)
def test_a_faulty_file_is_told_with_its_line(client: Client, text: str) -> None:
    response = compared(client, new={"files": {**FILES, "pack.yaml": text}})
    assert (response.status_code, response.json()["code"]) == (422, "files-faulty")
    assert "pack.yaml:" in response.json()["detail"]


@pytest.mark.parametrize(
    ("changes", "wanted"),
    [
        ({"new": {}}, (400, "/new")), ({"old": {**HERE, "files": {}}}, (400, "/old")),
        ({"new": {"pack": "other"}}, (404, "/new/pack")), ({"new": {"files": {}}}, (422, "/new/files")),
        ({"new": {"files": {"pack.yaml": 1}}}, (400, "/new/files/...")),
        ({"new": {"folder": "/etc"}}, (400, "/new/folder")),
        ({"character": "wena"}, (404, "/character")), ({"distance": "far out"}, (404, "/distance")),
        ({"distance": -1}, (400, "/distance")), ({"set": "none"}, (404, "/set")), ({"set": ".."}, (400, "/set")),
        ({"questions": [{"name": "q"}]}, (400, "/questions/0/question")),
        ({"questions": [{"name": "q", "question": question()}] * 201}, (400, "/questions")),
    ],
)  # fmt: skip
def test_what_cannot_be_compared_is_named(client: Client, changes: dict[str, Any], wanted: tuple[int, str]) -> None:
    response = compared(client, **changes)
    assert (response.status_code, response.json()["pointer"]) == wanted, response.text


def test_a_changed_move_is_told_with_the_answers_of_a_set(client: Client) -> None:
    assert client.post("/v1/sets", json={"name": "punishes"}).status_code == 201
    for name, request, study in (
        ("knee", question(), None), ("beats", {"them": {"character": "marl"}, "moves": ["cinder_knee"]}, "beats"),
    ):  # fmt: skip
        sent = {"name": name, "request": request, "study": study}
        assert client.post("/v1/sets/punishes/entries", json=sent).status_code == 201
    line = next(row for row in FILES["characters/marl.yaml"].splitlines() if "cinder_knee" in row)
    new = changed("characters/marl.yaml", "on_block: -10", "on_block: -2") if "on_block: -10" in line else None
    assert new is not None, line
    found = compared(client, new={"files": new}, set="punishes").json()
    assert not found["same"] and [one["move"] for one in found["properties"]][:1] == ["cinder_knee"]
    assert {"knee", "beats"} <= {one["id"] for one in found["consequences"] if one["kind"] == "answer"}
    other = compared(client, new={"files": new}, character="ilko").json()
    assert {one["character"] for one in other["properties"]} <= {None, "ilko"}
