"""Packs and rules are read again while the service answers: all or nothing, and nobody notices but by the data."""

from __future__ import annotations

import asyncio
import json
import shutil
from pathlib import Path
from typing import Any

import msgspec
import pytest
from litestar.testing import TestClient
from test_service_bodies import question

from advisor.errors import AdvisorError
from advisor.library import Library, bundled_rules, load_library
from advisor.service.app import Service, create_app
from advisor.service.running.copies import Copies
from advisor.service.running.served import Reloaded, Served
from advisor.service.settings import Settings
from advisor.service.weighing.work import Answer, Desk

HEAD = "pack.yaml"


@pytest.fixture
def pack(tmp_path: Path) -> Path:
    """A pack of the user's own, which stands for the bundled one."""
    folder = tmp_path / "cold_frame"
    shutil.copytree(bundled_rules() / "packs" / "cold_frame", folder)
    return folder


def edit(path: Path, old: str, new: str) -> None:
    text = path.read_text("utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


def app(pack: Path, **changed: Any) -> TestClient[Service]:
    settings = Settings(workers=0, engine="plain", packs=(pack,), **changed)
    return TestClient(create_app(settings, load_library(packs=(pack,), engine="plain")))


def test_what_was_edited_holds_after_a_reload_and_not_before(pack: Path) -> None:
    with app(pack) as client:
        before = client.get("/v1/packs/cold_frame").json()
        edit(pack / HEAD, 'version: "1.0"', 'version: "1.1"')
        assert client.get("/v1/packs/cold_frame").json() == before
        response = client.post("/v1/admin/reload")
        assert response.status_code == 200
        reloaded = msgspec.json.decode(response.content, type=Reloaded)
        (change,) = reloaded.packs
        after = client.get("/v1/packs/cold_frame").json()
        assert (after["version"], before["version"]) == ("1.1", "1.0")
        assert (change.id, change.change, change.version) == ("cold_frame", "changed", "1.1")
        assert (change.old_hash, change.hash) == (before["hash"], after["hash"])
        assert change.rules == change.old_rules
        assert client.post("/v1/advice", json=question()).json()["pack"]["version"] == "1.1"
        assert client.post("/v1/admin/reload").json()["packs"][0]["change"] == "same"


def test_a_broken_pack_changes_nothing_and_is_told_in_full(pack: Path) -> None:
    with app(pack) as client:
        before = client.get("/v1/packs").content, client.post("/v1/advice", json=question()).content
        edit(pack / "characters" / "wenna.yaml", "level: high", "level: hihg")
        edit(pack / "characters" / "marl.yaml", "level: high", "level: hgih")
        response = client.post("/v1/admin/reload")
        assert (response.status_code, response.json()["code"]) == (422, "reload-refused")
        said = response.json()["detail"]
        for name in ("wenna", "marl"):
            path = pack / "characters" / f"{name}.yaml"
            line = next(i for i, t in enumerate(path.read_text("utf-8").splitlines(), 1) if "hihg" in t or "hgih" in t)
            assert f"{path}:{line}:" in said, "the original is named, not a copy"
        assert said.startswith("2 fault(s) in the data\n")
        assert before == (client.get("/v1/packs").content, client.post("/v1/advice", json=question()).content)
        metrics = client.get("/metrics").text
        assert 'advisor_reloads_total{outcome="refused"} 1.0' in metrics
        assert 'advisor_reloads_total{outcome="ok"} 0.0' in metrics
        edit(pack / "characters" / "wenna.yaml", "level: hihg", "level: high")
        edit(pack / "characters" / "marl.yaml", "level: hgih", "level: high")
        assert client.post("/v1/admin/reload").status_code == 200


def test_a_folder_that_is_gone_is_refused_under_its_own_name(pack: Path) -> None:
    with app(pack) as client:
        shutil.rmtree(pack)
        said = client.post("/v1/admin/reload").json()
        assert said["code"] == "reload-refused"
        assert str(pack) in said["detail"]
        assert client.get("/v1/packs").status_code == 200


class _Slow(Desk):
    """A desk whose answer waits until it is let go; it notes when it was stopped."""

    def __init__(self, library: Library) -> None:
        super().__init__(library)
        self.go = asyncio.Event()
        self.stopped = False

    async def weigh(self, task: str, body: bytes, media_type: str) -> Answer:
        await self.go.wait()
        assert not self.stopped
        return Answer(200, media_type, self.library.default.encode())

    async def stop(self) -> None:
        self.stopped = True
        self.go.set()


def test_what_is_being_asked_ends_on_the_old_desk_which_then_stops(library: Library) -> None:
    old, fresh = _Slow(library), _Slow(Library(shelves=library.shelves, default="fresh"))

    async def play() -> None:
        served = Served(Settings(workers=0), library, old, lambda *_: fresh, None)
        served.load = lambda _: fresh.library
        told: list[str] = []
        served.told.append(lambda: told.append(served.library.default))
        await served.start()
        first = asyncio.create_task(served.desk.ask("advice", b"1"))
        await asyncio.sleep(0)
        await served.reload()
        assert told == ["fresh"]
        second = asyncio.create_task(served.desk.ask("advice", b"2"))
        fresh.go.set()
        assert (await second).body == b"fresh"
        await asyncio.sleep(0.01)
        assert not old.stopped
        old.go.set()
        assert (await first).body == b"cold_frame"
        await asyncio.sleep(0.01)
        assert old.stopped
        assert not fresh.stopped
        await served.stop()
        assert fresh.stopped

    asyncio.run(play())


def test_a_desk_that_cannot_start_is_refused_and_ended(library: Library) -> None:
    class Fails(_Slow):
        async def start(self) -> None:
            raise AdvisorError("fault", "a worker could not start")

    fresh = Fails(library)

    async def play() -> None:
        served = Served(Settings(workers=0), library, Desk(library), lambda *_: fresh, None)
        with pytest.raises(AdvisorError, match="a worker could not start") as caught:
            await served.reload()
        assert caught.value.code == "reload-refused"
        assert fresh.stopped
        assert served.holding.library is library

    asyncio.run(play())


def test_reloads_at_once_are_done_one_after_the_other(pack: Path) -> None:
    under_way: list[int] = []

    async def play() -> None:
        settings = Settings(workers=0, engine="plain", packs=(pack,))
        library = load_library(packs=(pack,), engine="plain")
        served = Served(settings, library, Desk(library), lambda found, _: Desk(found), None)
        load = served.load

        def counted(taken: Settings) -> Library:
            under_way.append(1)
            assert len(under_way) == 1
            try:
                return load(taken)
            finally:
                under_way.pop()

        served.load = counted
        await asyncio.gather(*(served.reload() for _ in range(3)))
        assert served.reloads == {"ok": 3, "refused": 0}
        folders = list(Path(str(served.copies._root)).iterdir())
        assert len(folders) == 2
        await served.stop()
        assert not any(folder.exists() for folder in folders)

    asyncio.run(play())


def test_workers_read_what_was_checked_and_not_what_is_edited_since(pack: Path, tmp_path: Path) -> None:
    rules = tmp_path / "house"
    (rules / "deep").mkdir(parents=True)
    (rules / "deep" / "notes.txt").write_text("no rule", encoding="utf-8")
    (pack / "secret.yaml").symlink_to("/etc/hostname")
    (pack / "characters" / "linked.yaml").symlink_to(pack / "characters" / "wenna.yaml")
    copies = Copies(Settings(packs=(pack,), rules=(rules,)))
    taken = copies.take()
    edit(pack / HEAD, 'version: "1.0"', "version: {")
    assert "version: {" not in (taken.packs[0] / HEAD).read_text("utf-8")
    assert (taken.packs[0] / "characters" / "linked.yaml").read_text("utf-8").startswith(
        (pack / "characters" / "wenna.yaml").read_text("utf-8")[:50]
    )
    assert (taken.packs[0] / "secret.yaml").is_symlink(), "what leads out is not read, here as there"
    assert taken.packs[0].name == "cold_frame"
    assert not list(taken.rules[0].rglob("*.txt"))
    copies.close()
    assert not taken.packs[0].exists()


def test_nothing_is_copied_where_nothing_is_named() -> None:
    settings = Settings()
    assert Copies(settings).take() is settings


def test_a_body_that_was_sent_is_of_no_matter(client: TestClient[Service]) -> None:
    assert client.post("/v1/admin/reload", content=json.dumps([1])).status_code == 200
    assert client.get("/v1/admin/reload").status_code == 405
