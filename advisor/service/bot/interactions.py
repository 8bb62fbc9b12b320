"""The bot in the service: ``POST /bot/discord`` takes signed interactions, answers at once or follows up.

The signature is the key: the route asks for no other. It is there only where a public key is set.
"""

from __future__ import annotations

import asyncio
import time
from functools import partial
from typing import Any

import msgspec
from litestar import Request, Response, post
from litestar.background_tasks import BackgroundTask
from litestar.handlers import HTTPRouteHandler
from msgspec import Struct

from advisor.library import Library
from advisor.service.asking.reading import decode
from advisor.service.asking.spelling import words_of
from advisor.service.bot.answering import PATIENCE, Answering, Place
from advisor.service.bot.asked import Value
from advisor.service.bot.message import HIDDEN, Message, payload
from advisor.service.bot.platform import Platform
from advisor.service.bot.replies import said
from advisor.service.bot.servers import Servers, packs_by_server
from advisor.service.bot.signed import Seen, Signed, public_key
from advisor.service.bot.source import AtHand
from advisor.service.settings import Settings
from advisor.service.weighing.work import JSON, Desk

__all__ = ["PATH", "Bot", "given_of"]

PATH = "/bot/discord"
PING, COMMAND, SUGGEST = 1, 2, 4
"""Kinds of interactions."""
PONG, REPLY, LATER, CHOICES = 1, 4, 5, 8
"""Kinds of answers."""
MANAGES = 0x20 | 0x8
"""Bits of a member's permissions: to manage the server, and to do everything."""


class Option(Struct, kw_only=True):
    """An option as it was given, or as far as it was typed."""

    name: str
    value: Value | None = None
    focused: bool = False


class Data(Struct, kw_only=True):
    """The command."""

    name: str = ""
    options: list[Option] = []


class Member(Struct, kw_only=True):
    """Who gave the command, in a server."""

    permissions: str = "0"


class Interaction(Struct, kw_only=True):
    """What the platform sends, as far as it is read."""

    type: int
    token: str = ""
    application_id: str = ""
    guild_id: str | None = None
    member: Member | None = None
    data: Data | None = None


_DECODER = msgspec.json.Decoder(Interaction)


def given_of(options: list[Option]) -> tuple[dict[str, Value], str]:
    """The options by name, and the one that is being typed."""
    focused = next((one.name for one in options if one.focused), "")
    return {one.name: one.value for one in options if one.value is not None}, focused


class Bot:
    """The bot of a service. Errors: ``QuestionError`` and ``Unanswerable`` for settings that are wrong."""

    def __init__(self, settings: Settings, library: Library, desk: Desk) -> None:
        self._servers = Servers(packs_by_server(settings.discord_packs), settings.notebook)
        for pack in self._servers.given.values():
            library.shelf(pack)
        self._seen = Seen(settings.redis)
        self._signed = Signed(public_key(settings.discord_public_key or ""), self._seen)
        self._answering = Answering(AtHand(desk, settings.notebook), self._servers)
        self._platform = Platform(settings.discord_api)

    @property
    def route(self) -> HTTPRouteHandler:
        """The route of the bot."""

        async def interact(request: Request[Any, Any, Any]) -> Response[bytes]:
            return await self.interact(request)

        return post(PATH, status_code=200, include_in_schema=False, opt={"needs": "none"})(interact)

    async def stop(self) -> None:
        """Let go of every connection."""
        await asyncio.gather(self._seen.close(), self._platform.close(), self._servers.close())

    async def interact(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """The answer to one interaction. Errors: ``AdvisorError`` ``signature-invalid``, and those of a body."""
        began, body = time.monotonic(), await request.body()
        headers = request.headers
        await self._signed.check(headers.get("x-signature-ed25519"), headers.get("x-signature-timestamp"), body)
        came = decode(body, _DECODER, words_of(Interaction))
        if came.type == PING:
            return _answer(PONG)
        if came.type == SUGGEST and came.data:
            given, focused = given_of(came.data.options)
            found = await self._answering.choices(came.data.name, given, focused, _place(came))
            return _answer(CHOICES, {"choices": [{"name": c.name, "value": c.value} for c in found]})
        if came.type == COMMAND and came.data:
            return await self._command(came, came.data, began)
        return _answer(REPLY, payload(said("this kind of interaction is not known here")))

    async def _command(self, came: Interaction, data: Data, began: float) -> Response[bytes]:
        """At once what is quick; what is not is answered later, once the platform has been told so."""
        given, _ = given_of(data.options)
        start = partial(self._answering.answer, data.name, given, _place(came))
        work: asyncio.Task[Message] | None = None
        if patience := PATIENCE.get(data.name, 1.0):
            work = asyncio.create_task(start())
            done, _ = await asyncio.wait({work}, timeout=patience)
            if done:
                return _answer(REPLY, payload(work.result()))

        async def later() -> None:
            message = await (work or start())
            await self._platform.follow_up(came.application_id, came.token, message, began)

        flags = {"flags": HIDDEN} if given.get("hidden") else {}
        return _answer(LATER, flags, BackgroundTask(later))


def _place(came: Interaction) -> Place:
    member = came.member.permissions if came.member else "0"
    manages = member.isascii() and member.isdigit() and int(member[:40]) & MANAGES != 0
    return Place(server=came.guild_id, manages=manages)


def _answer(kind: int, data: dict[str, Any] | None = None, background: BackgroundTask | None = None) -> Response[bytes]:
    body: dict[str, Any] = {"type": kind} if data is None else {"type": kind, "data": data}
    return Response(msgspec.json.encode(body), media_type=JSON, background=background)
