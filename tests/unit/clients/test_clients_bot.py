"""The bot's commands on the command line, and the gateway client with stand-ins for what the platform sends."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from click.testing import CliRunner, Result
from served import served

from advisor.clients.api import AsyncAdvisor
from advisor.clients.bot_source import Remote
from advisor.clients.cli import main
from advisor.clients.gateway import build_tree, discord
from advisor.library import Library, load_library
from advisor.service.app import create_app
from advisor.service.bot.answering import PATIENCE, Answering
from advisor.service.bot.commands import commands
from advisor.service.bot.servers import Servers
from advisor.service.bot.source import AtHand, Source
from advisor.service.settings import Settings
from advisor.service.weighing.work import Desk
from tests.unit.service.platform_stand_in import GUILD, platform

ASKED = {"me": "wenna", "them": "marl", "moment": "i_blocked", "move": "cinder_knee", "distance": "touching"}
COVERED = {"me": "marl", "them": "wenna", "moment": "neutral", "distance": "close"}


def run(*words: str, **environ: str) -> Result:
    return CliRunner().invoke(main, ["bot", *words], env=environ)


def test_commands_are_printed_as_they_are_registered() -> None:
    assert json.loads(run("commands", "--print").output) == commands()


def test_commands_are_registered_in_one_call_and_refusals_are_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("advisor.service.bot.platform.PAUSE", 0.01)
    known = {"ADVISOR_DISCORD_APPLICATION": "77", "ADVISOR_DISCORD_TOKEN": "the-token"}
    assert "`ADVISOR_DISCORD_TOKEN` is not set" in run("commands", ADVISOR_DISCORD_APPLICATION="77").output
    assert "`--guild` is `x`" in run("commands", "--guild", "x", **known).output
    with platform() as stand_in:
        stand_in.replies = [(429, {"retry-after": "0.01"}, b"{}"), (200, {}, json.dumps(commands()).encode())]
        done = run("commands", "--guild", GUILD, "--url", stand_in.address, **known)
        assert (done.exit_code, done.output) == (0, f"5 commands registered in server {GUILD}\n")
        sent = stand_in.came[-1]
        assert (sent.method, sent.path) == ("PUT", f"/api/v10/applications/77/guilds/{GUILD}/commands")
        assert sent.headers["authorization"] == "Bot the-token" and json.loads(sent.body) == commands()
        stand_in.replies = [(401, {}, b'{"message": "no"}')]
        refused = run("commands", **known, ADVISOR_DISCORD_API=stand_in.address)
        assert refused.exit_code == 2 and "ADVISOR_DISCORD_TOKEN" in refused.output
        assert "the-token" not in refused.output and stand_in.came[-1].path == "/api/v10/applications/77/commands"


def test_a_gateway_without_its_library_or_token_says_what_to_do(monkeypatch: pytest.MonkeyPatch) -> None:
    assert "`ADVISOR_DISCORD_TOKEN` is not set" in run("gateway").output
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    missing = run("gateway", ADVISOR_DISCORD_TOKEN="t")
    assert missing.exit_code == 2 and "situation-advisor[gateway]" in missing.output.replace("\n", "")


class Interaction:
    """What the library hands to a callback, as far as it is used; it keeps what is said to it."""

    def __init__(self, rights: int = 0, **namespace: Any) -> None:
        self.permissions = discord.Permissions(rights)
        self.guild_id: int | None = int(GUILD)
        self.namespace = SimpleNamespace(**namespace)
        self.response = self
        self.said: list[tuple[str, dict[str, Any]]] = []

    async def send_message(self, **given: Any) -> None:
        self.said.append(("at once", given))

    async def defer(self, **given: Any) -> None:
        self.said.append(("later", given))

    async def edit_original_response(self, **given: Any) -> None:
        self.said.append(("then", given))


def tree_of(source: Source, folder: Path) -> dict[str, Any]:
    """The commands of the tree by name."""
    answering = Answering(source, Servers({}, f"sqlite:///{folder / 'store.sqlite'}"))
    tree = build_tree(discord.Client(intents=discord.Intents.none()), answering)
    for one, written in zip(tree.get_commands(), commands(), strict=True):
        shown = json.loads(json.dumps(one.to_dict(tree)))
        shown.pop("dm_permission")
        rights = shown.pop("default_member_permissions")
        wanted = dict(written)
        assert str(rights) == str(wanted.pop("default_member_permissions"))
        assert shown == wanted
    return {one.name: one for one in tree.get_commands()}


@pytest.fixture(scope="module")
def library() -> Library:
    return load_library(engine="plain")


async def at_hand(library: Library, check: Callable[[Source], Any]) -> None:
    desk = Desk(library)
    await check(AtHand(desk))
    await desk.stop()


async def over_rest(library: Library, check: Callable[[Source], Any]) -> None:
    with served(create_app(Settings(workers=0, engine="plain"), library)) as address:
        async with AsyncAdvisor(address) as advisor:
            await check(Remote(advisor))


@pytest.mark.parametrize("way", [at_hand, over_rest])
def test_the_gateway_offers_the_same_commands_and_says_the_same(library: Library, tmp_path: Path, way: Any) -> None:
    async def check(source: Source) -> None:
        known = tree_of(source, tmp_path)
        came = Interaction()
        await known["advice"].callback(came, **ASKED, frames=None)
        (how, said) = came.said[0]
        assert how == "at once" and not said["ephemeral"] and not said["files"]
        assert said["embeds"][0].title == "Punish\\: Putty Jab (10f), 8 damage, guaranteed"
        assert said["allowed_mentions"].to_dict() == {"parse": []}
        came = Interaction()
        await known["advice"].callback(came, **{**ASKED, "me": "wena"})
        assert "did you mean \\`wenna\\`" in came.said[0][1]["content"].lower() and came.said[0][1]["ephemeral"]
        came = Interaction()
        await known["coverage"].callback(came, **COVERED, hidden=True)
        assert came.said[0] == ("later", {"ephemeral": True, "thinking": True})
        assert came.said[1][1]["attachments"][0].fp.read(4) == b"\x89PNG"
        assert came.said[1][1]["embeds"][0].image.url == "attachment://coverage.png"
        came = Interaction(**{**ASKED, "move": "cinder"})
        found = await known["advice"]._params["move"].autocomplete(came, "cinder")
        assert [one.value for one in found] == ["cinder_knee"]

    asyncio.run(way(library, check))


def test_the_pack_is_chosen_over_the_gateway_by_who_manages(library: Library, tmp_path: Path) -> None:
    async def check(source: Source) -> None:
        pack = tree_of(source, tmp_path)["pack"]
        for rights, said in ((0, "may manage"), (0x20, "from now on"), (0x8, "from now on")):
            came = Interaction(rights)
            await pack.callback(came, pack="cold_frame")
            assert said in came.said[0][1]["content"].lower()

    asyncio.run(at_hand(library, check))
    assert set(PATIENCE) == {one["name"] for one in commands()}


def test_a_service_that_is_not_there_is_told_plainly(tmp_path: Path) -> None:
    async def check() -> None:
        async with AsyncAdvisor("http://127.0.0.1:1", retries=0) as advisor:
            known = tree_of(Remote(advisor), tmp_path)
            came = Interaction()
            await known["advice"].callback(came, **ASKED)
            assert came.said[0][1]["content"].startswith("The service does not answer")
            assert await known["advice"]._params["me"].autocomplete(came, "w") == []

    asyncio.run(check())
