"""The bot from end to end, against a stand-in for the platform: signed requests in, messages and follow-ups out."""

from __future__ import annotations

import asyncio
import email
import email.policy
import json
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import msgspec
import pytest
from litestar.testing import TestClient
from nacl.signing import SigningKey

from advisor.errors import QuestionError, Unanswerable
from advisor.library import Library
from advisor.notebook import Notebook, Sets
from advisor.notebook.sets import Entry
from advisor.service.app import Service, create_app
from advisor.service.bot import answering
from advisor.service.bot.interactions import PATH
from advisor.service.settings import Settings
from advisor.service.weighing.tasks import TASKS
from advisor.service.weighing.work import Answer, Desk
from tests.unit.service.platform_stand_in import GUILD, PUBLIC, StandIn, interaction, platform, signed

BLOCKED = {"me": "wenna", "them": "marl", "moment": "i_blocked", "move": "cinder_knee", "distance": "touching"}
DOWN = {
    "me": "marl", "them": "wenna", "moment": "they_are_down", "knockdown": "face_up", "frames": 20, "distance": "close",
}  # fmt: skip
MANAGER = {"guild_id": GUILD, "member": {"permissions": str(0x20)}}


class Slow(Desk):
    """A desk that takes its time, and counts what it is asked."""

    asked = 0

    async def ask(self, task: str, body: bytes, media_type: str = "application/json") -> Answer:
        self.asked += 1
        await asyncio.sleep(0.2)
        return await super().ask(task, body, media_type)


@contextmanager
def bot(library: Library, folder: Path, *, desk: Desk | None = None, **more: Any) -> Iterator[TestClient[Service]]:
    settings = Settings(
        workers=0, engine="plain", discord_public_key=PUBLIC, notebook=f"sqlite:///{folder / 'store.sqlite'}",
        **{"discord_packs": f"{GUILD}=cold_frame", **more},
    )  # fmt: skip
    with TestClient(create_app(settings, library, desk=desk)) as client:
        yield client


def send(client: TestClient[Service], body: bytes) -> dict[str, Any]:
    came = client.post(PATH, content=body, headers=signed(body))
    assert came.status_code == 200, came.text
    answer: dict[str, Any] = came.json()
    return answer


def command(client: TestClient[Service], name: str, options: dict[str, Any], **more: Any) -> dict[str, Any]:
    return send(client, interaction(2, name, options, **{**MANAGER, **more}))


def content(answer: dict[str, Any]) -> str:
    """The text of an answer at once, without its escapes; only its asker sees it."""
    assert answer["type"] == 4
    return str(answer["data"]["content"]).replace("\\", "").lower()


@pytest.fixture(scope="module")
def client(library: Library, tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient[Service]]:
    with bot(library, tmp_path_factory.mktemp("bot")) as client:
        yield client


def test_a_ping_is_answered_once_and_only_when_it_is_signed(client: TestClient[Service]) -> None:
    body = interaction(1)
    headers = signed(body)
    for wrong in (
        {}, {"x-signature-ed25519": headers["x-signature-ed25519"]}, signed(body, key=SigningKey.generate()),
        signed(body + b" "), signed(body, stamp=int(time.time()) - 301), {**headers, "x-signature-ed25519": "ab"},
    ):  # fmt: skip
        refused = client.post(PATH, content=body, headers=wrong)
        assert (refused.status_code, refused.json()["code"]) == (401, "signature-invalid")
    assert client.post(PATH, content=b"\xff{", headers={}).status_code == 401, "checked before it is read"
    assert client.post(PATH, content=body, headers=headers).json() == {"type": 1}
    again = client.post(PATH, content=body, headers=headers)
    assert (again.status_code, "before" in again.json()["detail"]) == (401, True)
    for broken in (b"\xff{", b"[" * 2000, b"[]", b'{"type": "1"}'):
        assert client.post(PATH, content=broken, headers=signed(broken)).status_code == 400


def test_without_a_public_key_there_is_no_bot_and_with_a_wrong_setting_no_service(library: Library) -> None:
    with TestClient(create_app(Settings(workers=0, engine="plain"), library)) as plain:
        assert plain.post(PATH, content=b"{}").status_code == 404
    for packs, kind in (("here=cold_frame", QuestionError), ("12=", QuestionError), ("12=cold_fram", Unanswerable)):
        with pytest.raises(kind):
            create_app(Settings(workers=0, discord_public_key=PUBLIC, discord_packs=packs), library)


def test_advice_is_answered_at_once_with_what_the_service_says(client: TestClient[Service], library: Library) -> None:
    task = TASKS["advice"]
    advice = task.run(library, msgspec.convert(task.example, task.request))
    answer = command(client, "advice", BLOCKED)
    embed = answer["data"]["embeds"][0]
    assert answer["type"] == 4 and "flags" not in answer["data"]
    assert embed["title"].replace("\\", "") == advice.summary
    assert [f["name"].replace("\\", "").split(" (")[0] for f in embed["fields"]] == [
        f"{place}. {one.name}" for place, one in enumerate(advice.responses[:8], 1)
    ]
    assert "organiser" in embed["footer"]["text"]
    hidden = command(client, "advice", {**BLOCKED, "hidden": True, "explain": "full", "move": "Cinder Knee"})
    assert hidden["data"]["flags"] == 64 and hidden["data"]["embeds"][0]["title"] == embed["title"]
    beats = command(client, "beats", {"them": "ilko", "moves": "sting, brood_grip", "me": "wenna", "distance": "0,9"})
    assert beats["data"]["embeds"][0]["fields"]


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({**BLOCKED, "me": "wena"}, "did you mean `wenna`"), ({**BLOCKED, "move": "cinder_nee"}, "`cinder_knee`"),
        ({**BLOCKED, "me": "<@1> `@everyone`"}, "it has"), ({**BLOCKED, "distance": "closer"}, "did you mean `close`"),
        ({**BLOCKED, "pack": "cold_fram"}, "did you mean `cold_frame`"), ({**BLOCKED, "frames": 3}, "does not go with"),
        ({**DOWN, "knockdown": "faceup"}, "did you mean `face_up`"), ({**BLOCKED, "moment": "hit"}, "one of"),
        ({"me": "wenna", "them": "marl", "moment": "i_blocked"}, "add `move`"), ({**BLOCKED, "x": 1}, "no `x`"),
        ({**BLOCKED, "explain": 3}, "`explain` is `3`"), ({"me": "wenna"}, "add `them`"),
        ({**DOWN, "frames": 301}, "300"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_said_to_its_asker_alone_with_what_is_right(
    client: TestClient[Service], options: dict[str, Any], said: str
) -> None:
    answer = command(client, "advice", options)
    assert said in content(answer), content(answer)
    assert answer["data"]["flags"] == 64 and not answer["data"]["embeds"]
    assert answer["data"]["allowed_mentions"] == {"parse": []}
    assert "<@" not in answer["data"]["content"] and "`@" not in answer["data"]["content"]


def suggest(client: TestClient[Service], name: str, focused: str, **options: Any) -> list[str]:
    answer = send(client, interaction(4, name, options, focused=focused, guild_id=GUILD))
    assert answer["type"] == 8
    choices = answer["data"]["choices"]
    assert len(choices) <= 25 and all(len(c["name"]) <= 100 for c in choices)
    return [c["value"] for c in choices]


def test_suggestions_are_those_of_the_side_that_is_meant(client: TestClient[Service], library: Library) -> None:
    characters = library.shelves["cold_frame"].pack.characters
    assert suggest(client, "advice", "me", me="wen") == ["wenna"]
    assert suggest(client, "advice", "me", me="") == list(characters)
    assert suggest(client, "advice", "move", me="wenna", them="marl", moment="i_blocked", move="cinder") == [
        "cinder_knee"
    ]
    mine = suggest(client, "advice", "move", me="Wenna Pallister", them="marl", moment="they_blocked", move="")
    assert mine == list(characters["wenna"].moves)[:25]
    assert suggest(client, "beats", "moves", them="ilko", moves="sting, broo") == ["sting,brood_grip"]
    assert "touching" in suggest(client, "coverage", "distance", distance="")
    assert suggest(client, "advice", "knockdown", knockdown="face") == ["face_up", "face_down"]
    assert suggest(client, "pack", "pack", pack="quarrel") == ["cold_frame"]
    assert suggest(client, "advice", "move", them="nobody", move="x") == suggest(client, "none", "x", x="y") == []


@pytest.fixture
def stand_in() -> Iterator[StandIn]:
    with platform() as one:
        yield one


def test_coverage_follows_later_with_its_picture(
    library: Library, tmp_path: Path, stand_in: StandIn, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("advisor.service.bot.platform.PAUSE", 0.01)
    stand_in.replies = [(404, {}, b"{}"), (429, {"retry-after": "0.01"}, b"{}"), (500, {}, b""), (200, {}, b"{}")]
    with bot(library, tmp_path, discord_api=stand_in.address) as client:
        assert command(client, "coverage", {**BLOCKED, "hidden": True}) == {"type": 5, "data": {"flags": 64}}
    assert len(stand_in.came) == 4
    method, path, headers, body = stand_in.came[-1]
    assert (method, path) == ("PATCH", "/api/v10/webhooks/77/a.token%2Fwith%3Fsigns/messages/@original")
    parts = email.message_from_bytes(
        b"content-type: " + headers["content-type"].encode() + b"\r\n\r\n" + body, policy=email.policy.HTTP
    )
    form, picture = parts.iter_parts()  # type: ignore[attr-defined]
    assert 'name="payload_json"' in form["content-disposition"]
    sent = json.loads(form.get_content() if form.get_content_type().startswith("text") else form.get_payload())
    assert sent["embeds"][0]["image"] == {"url": "attachment://coverage.png"}
    assert sent["attachments"][0]["filename"] == "coverage.png" and "flags" not in sent
    assert 'name="files[0]"; filename="coverage.png"' in picture["content-disposition"]
    assert picture.get_payload(decode=True).startswith(b"\x89PNG")


def test_what_turns_out_slow_follows_later_and_is_asked_once(
    library: Library, tmp_path: Path, stand_in: StandIn, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(answering.PATIENCE, "advice", 0.05)
    desk = Slow(library)
    with bot(library, tmp_path, desk=desk, discord_api=stand_in.address) as client:
        assert command(client, "advice", BLOCKED) == {"type": 5, "data": {}}
        assert command(client, "coverage", {**DOWN, "me": "marll"}) == {"type": 5, "data": {}}
        # What the platform refuses is replaced by a word on that.
        stand_in.replies = [(400, {}, b'{"message": "no"}'), (200, {}, b"{}")]
        command(client, "coverage", {**BLOCKED, "picture": False})
    first, wrong, refused, plain = (json.loads(came.body) for came in stand_in.came)
    assert first["embeds"][0]["fields"] and desk.asked == 3
    assert "marl" in wrong["content"] and not wrong["embeds"]
    assert refused["embeds"] and "could not be delivered" in plain["content"]


def test_a_server_keeps_the_pack_that_its_managers_chose(library: Library, tmp_path: Path) -> None:
    other = msgspec.structs.replace(library.shelves["cold_frame"].pack, id="second")
    shelves = {**library.shelves, "second": msgspec.structs.replace(library.shelves["cold_frame"], pack=other)}
    both = Library(shelves=shelves, default="cold_frame")
    with bot(both, tmp_path) as client:
        assert "`cold_frame` is meant" in content(command(client, "pack", {}))
        member = {"member": {"permissions": str(~0x28 & 0xFFFF)}}
        assert "may manage" in content(command(client, "pack", {"pack": "second"}, **member))
        assert "in a server" in content(command(client, "pack", {"pack": "second"}, guild_id=None))
        assert "did you mean `second`" in content(command(client, "pack", {"pack": "secnd"}))
        assert not (tmp_path / "store.sqlite").exists(), "nothing was chosen yet"
        chosen = command(client, "pack", {"pack": "second"})
        assert "`second` is meant" in content(chosen) and "flags" not in chosen["data"]
    with bot(both, tmp_path) as client:
        assert "`second` is meant" in content(command(client, "pack", {}))
        assert "`cold_frame` is meant" in content(command(client, "pack", {}, guild_id="55"))
        assert "`cold_frame`" in content(command(client, "pack", {"pack": "cold_frame"}))
        assert "`cold_frame` is meant" in content(command(client, "pack", {}))


def test_the_lab_list_is_shown_where_the_operator_allows_it(
    library: Library, tmp_path: Path, stand_in: StandIn
) -> None:
    with Notebook(f"sqlite:///{tmp_path / 'store.sqlite'}") as notebook:
        Sets(notebook).put("knees", "", [Entry(name="one", request=TASKS["advice"].example)])
    with bot(library, tmp_path, discord_api=stand_in.address) as client:
        assert suggest(client, "lab", "set", set="kn") == ["knees"]
        for options, more in (({"set": "knees"}, {}), ({"set": "kneez"}, {}), ({"set": "knees"}, {"guild_id": "55"})):
            assert command(client, "lab", options, **more)["type"] == 5
    found, missing, elsewhere = (json.loads(came.body) for came in stand_in.came)
    assert found["embeds"][0]["title"] == "Next in the lab\\: knees" and found["embeds"][0]["fields"]
    assert "Did you mean" in missing["content"] and "not shown here" in elsewhere["content"]
