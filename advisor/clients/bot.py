"""``advisor bot``: registering the study bot's commands, and the gateway client for those who cannot be reached."""

from __future__ import annotations

import asyncio
import importlib.util
import re

import click

from advisor.clients.running import guarded, print_json
from advisor.errors import QuestionError
from advisor.service.bot.commands import commands
from advisor.service.bot.platform import Platform
from advisor.service.settings import Settings, read_settings

__all__ = ["COMMANDS"]


@click.group("bot")
def bot() -> None:
    """The study bot for Discord: its commands, and the gateway client."""


@bot.command("commands")
@click.option("--guild", metavar="ID", help="Register for this server only, where they are there at once.")
@click.option("--print", "shown", is_flag=True, help="Print what would be sent, and send nothing.")
@click.option("--url", help="Address of the platform's interface; ADVISOR_DISCORD_API when left out.")
def register(guild: str | None, shown: bool, url: str | None) -> None:
    """Register the bot's commands, in place of all that it has.

    \b
    advisor bot commands --print
    advisor bot commands --guild 100000000000000001
    """

    def run() -> None:
        if shown:
            print_json(commands())
            return
        settings = read_settings()
        application, token = _needed(settings, "discord_application"), _needed(settings, "discord_token")
        if guild is not None and not re.fullmatch(r"[0-9]{1,20}", guild):
            raise QuestionError("value-invalid", f"`--guild` is `{guild}`", help="the number that is the server's id")
        count = asyncio.run(_register(url or settings.discord_api, application, token, guild))
        click.echo(f"{count} commands registered {f'in server {guild}' if guild else 'everywhere'}")

    guarded(run)


async def _register(base: str, application: str, token: str, guild: str | None) -> int:
    platform = Platform(base)
    try:
        return await platform.register(application, token, commands(), guild)
    finally:
        await platform.close()


@bot.command("gateway")
@click.option("--url", help="Ask the service at this address; the packs at hand when left out.")
@click.option("--key", envvar="SITUATION_ADVISOR_KEY", show_envvar=True, help="With --url: the key of the service.")
def gateway(url: str | None, key: str | None) -> None:
    """Answer commands over a connection that this client opens: no address of yours has to be reachable.

    It needs the extra `gateway`, and ADVISOR_DISCORD_TOKEN. The application's page has to have no address for
    interactions.
    """

    def run() -> None:
        if importlib.util.find_spec("discord") is None:
            raise QuestionError(
                "value-invalid", "the gateway client needs the library discord.py, which is not installed",
                help="pip install 'situation-advisor[gateway]'",
            )  # fmt: skip
        settings = read_settings()
        token = _needed(settings, "discord_token")
        from advisor.clients.gateway import run_gateway

        run_gateway(settings, token, url, key)

    guarded(run)


def _needed(settings: Settings, name: str) -> str:
    value: str | None = getattr(settings, name)
    if value is None:
        raise QuestionError(
            "value-invalid", f"`ADVISOR_{name.upper()}` is not set", help="it stands on the application's page"
        )
    return value


COMMANDS = {"bot": bot}
"""The command by its name."""
