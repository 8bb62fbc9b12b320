"""The gateway client of the study bot: the same commands and messages over a connection that it opens itself."""

from __future__ import annotations

import asyncio
import inspect
import io
import logging
import warnings
from collections.abc import Callable, Coroutine
from contextlib import AsyncExitStack
from functools import partial
from typing import Any

from advisor.clients.api import AsyncAdvisor
from advisor.clients.bot_source import Remote
from advisor.errors import AdvisorError, QuestionError
from advisor.service.bot.answering import PATIENCE, Answering, Place
from advisor.service.bot.asked import Value
from advisor.service.bot.commands import commands
from advisor.service.bot.message import Message, payload
from advisor.service.bot.servers import Servers, packs_by_server
from advisor.service.bot.source import AtHand, Source
from advisor.service.settings import Settings
from advisor.service.weighing.pool import Pool
from advisor.service.weighing.work import Desk, load_settings

with warnings.catch_warnings():
    # It imports a part of the standard library that is on its way out, for voice, which is not used here.
    warnings.simplefilter("ignore", DeprecationWarning)
    import discord
    from discord import app_commands

__all__ = ["build_tree", "discord", "run_gateway"]

KINDS: dict[int, type[Any]] = {3: str, 4: int, 5: bool}
"""The type of an option by the platform's number."""
_log = logging.getLogger("advisor.bot")


def build_tree(client: discord.Client, answering: Answering) -> app_commands.CommandTree[discord.Client]:
    """The commands of ``commands.json`` with what answers them."""
    tree = app_commands.CommandTree(
        client,
        allowed_contexts=app_commands.AppCommandContext(guild=True, dm_channel=True),
        allowed_installs=app_commands.AppInstallationType(guild=True, user=False),
    )
    for one in commands():
        tree.add_command(_command(one, answering))
    return tree


def _command(one: dict[str, Any], answering: Answering) -> app_commands.Command[Any, ..., Any]:
    name, options = one["name"], {option["name"]: option for option in one["options"]}

    async def callback(interaction: discord.Interaction, **given: Value | None) -> None:
        await _answer(answering, interaction, name, {key: v for key, v in given.items() if v is not None})

    # The library reads the options off the signature.
    first = inspect.Parameter("interaction", inspect.Parameter.POSITIONAL_OR_KEYWORD)
    callback.__signature__ = inspect.Signature([first, *map(_parameter, options.values())])  # type: ignore[attr-defined]
    described = app_commands.describe(**{key: option["description"] for key, option in options.items()})(callback)
    suggested = {key: _suggest(answering, name, key) for key, option in options.items() if option.get("autocomplete")}
    described = app_commands.autocomplete(**suggested)(described)
    chosen = {
        key: [app_commands.Choice(name=c["name"], value=c["value"]) for c in option["choices"]]
        for key, option in options.items() if "choices" in option
    }  # fmt: skip
    described = app_commands.choices(**chosen)(described)
    command: app_commands.Command[Any, ..., Any] = app_commands.Command(
        name=name, description=one["description"], callback=described, nsfw=one["nsfw"],
        allowed_contexts=app_commands.AppCommandContext(guild=True, dm_channel=1 in one["contexts"]),
    )  # fmt: skip
    if one["default_member_permissions"] is not None:
        command.default_permissions = discord.Permissions(int(one["default_member_permissions"]))
    return command


def _parameter(option: dict[str, Any]) -> inspect.Parameter:
    kind = KINDS[option["type"]]
    if "min_value" in option:
        kind = app_commands.Range[int, option["min_value"], option["max_value"]]  # type: ignore[assignment]
    if option["required"]:
        return inspect.Parameter(option["name"], inspect.Parameter.KEYWORD_ONLY, annotation=kind)
    return inspect.Parameter(option["name"], inspect.Parameter.KEYWORD_ONLY, annotation=kind | None, default=None)


Suggest = Callable[[Any, str], Coroutine[Any, Any, list[app_commands.Choice[str]]]]


def _suggest(answering: Answering, command: str, option: str) -> Suggest:
    async def suggestions(interaction: discord.Interaction, current: str) -> list[app_commands.Choice[str]]:
        given = {key: value for key, value in vars(interaction.namespace).items() if value is not None}
        found = await answering.choices(command, {**given, option: current}, option, _place(interaction))
        return [app_commands.Choice(name=one.name, value=one.value) for one in found]

    return suggestions


async def _answer(
    answering: Answering, interaction: discord.Interaction, command: str, given: dict[str, Value]
) -> None:
    """At once what is quick; else the platform is told first that it takes longer."""
    start = partial(answering.answer, command, given, _place(interaction))
    work: asyncio.Task[Message] | None = None
    if patience := PATIENCE[command]:
        work = asyncio.create_task(start())
        done, _ = await asyncio.wait({work}, timeout=patience)
        if done:
            message = work.result()
            await interaction.response.send_message(ephemeral=message.hidden, **_sent(message))
            return
    await interaction.response.defer(ephemeral=bool(given.get("hidden")), thinking=True)
    sent = _sent(await (work or start()))
    await interaction.edit_original_response(attachments=sent.pop("files"), **sent)


def _sent(message: Message) -> dict[str, Any]:
    """The message in the library's words."""
    body = payload(message)
    return {
        "content": body["content"], "embeds": [discord.Embed.from_dict(one) for one in body["embeds"]],
        "files": [discord.File(io.BytesIO(p.data), filename=p.name, description=p.alt) for p in message.pictures],
        "allowed_mentions": discord.AllowedMentions.none(),
    }  # fmt: skip


def _place(interaction: discord.Interaction) -> Place:
    rights = interaction.permissions
    server = None if interaction.guild_id is None else str(interaction.guild_id)
    return Place(server=server, manages=rights.manage_guild or rights.administrator)


def run_gateway(settings: Settings, token: str, url: str | None, key: str | None) -> None:
    """Answer commands until Ctrl-C; from the service at ``url``, or from the packs at hand.

    Errors: ``DataError`` and ``QuestionError`` for data and settings; ``AdvisorError`` for a token that is refused.
    """
    servers = Servers(packs_by_server(settings.discord_packs), settings.notebook)
    try:
        asyncio.run(_run(settings, servers, token, url, key))
    except KeyboardInterrupt:
        return
    except discord.LoginFailure:
        raise QuestionError(
            "value-invalid", "the platform refuses the token", help="check `ADVISOR_DISCORD_TOKEN`"
        ) from None
    except (discord.DiscordException, OSError) as error:
        raise AdvisorError("fault", f"the connection to the platform ended: {error}") from None


async def _run(settings: Settings, servers: Servers, token: str, url: str | None, key: str | None) -> None:
    async with AsyncExitStack() as stack:
        source: Source
        if url is not None:
            try:
                source = Remote(await stack.enter_async_context(AsyncAdvisor(url, key=key)))
            except ValueError as error:
                raise QuestionError("value-invalid", str(error), help="check `--url` and `--key`") from None
        else:
            library = load_settings(settings)
            desk = (Pool if settings.workers else Desk).of(library, settings)
            await desk.start()
            stack.push_async_callback(desk.stop)
            source = AtHand(desk, settings.notebook)
        stack.push_async_callback(servers.close)
        client = await stack.enter_async_context(discord.Client(intents=discord.Intents.none()))
        build_tree(client, Answering(source, servers))
        _log.info("connecting to the platform")
        await client.start(token)
