"""A command in, a message out: the same for HTTP interactions and for the gateway client."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Mapping

import msgspec
from msgspec import Struct

from advisor.errors import AdvisorError, QuestionError
from advisor.pictures.offers import PNG
from advisor.service.bot.asked import Value, body_of, ids_of, option_at
from advisor.service.bot.commands import option_names
from advisor.service.bot.message import Message, Picture, fitted
from advisor.service.bot.names import Choice, Named, Names, matching, suggested
from advisor.service.bot.replies import message_of, said
from advisor.service.bot.servers import Servers
from advisor.service.bot.source import Source
from advisor.service.weighing.tasks import TASKS
from advisor.service.weighing.work import JSON, Answer
from advisor.service.wire import Problem

__all__ = ["PATIENCE", "Answering", "Place"]

PATIENCE = {"advice": 2.0, "beats": 2.0, "pack": 2.0, "coverage": 0.0, "lab": 0.0}
"""Seconds in which a command is answered at once; 0: it is known to take longer. The platform waits for three."""
SUGGESTING = 2.0
"""Seconds after which no suggestion is better than a late one."""
_log = logging.getLogger("advisor.service")


class Place(Struct, frozen=True, kw_only=True):
    """Where a command was given: the server's id (None: in private), and whether its member manages that server."""

    server: str | None = None
    manages: bool = False


class Answering:
    """Answers commands from a source, with the packs of servers."""

    def __init__(self, source: Source, servers: Servers) -> None:
        self._source = source
        self._servers = servers

    async def answer(self, command: str, given: Mapping[str, Value], place: Place) -> Message:
        """The message for a command; whatever goes wrong is a message too."""
        hidden = bool(given.get("hidden"))
        try:
            _check(command, given)
            message = await self._answered(command, given, place)
        except AdvisorError as error:
            return _refused(error.message, error.help, error.pointer)
        except Exception:
            _log.exception("the command `%s` of the bot failed", command)
            return said("something went wrong on our side")
        return msgspec.structs.replace(message, hidden=message.hidden or hidden)

    async def choices(self, command: str, given: Mapping[str, Value], focused: str, place: Place) -> list[Choice]:
        """Suggestions for the option ``focused``, at most 25; none when something goes wrong."""
        try:
            async with asyncio.timeout(SUGGESTING):
                return await self._suggested(command, given, focused, place)
        except (AdvisorError, TimeoutError):
            return []
        except Exception:
            _log.exception("suggestions of the bot for `%s` failed", command)
            return []

    async def _suggested(self, command: str, given: Mapping[str, Value], focused: str, place: Place) -> list[Choice]:
        typed = str(given.get(focused, ""))
        if focused == "pack":
            return matching(typed, await self._source.packs())
        if command == "lab":
            self._check_lab(place)
            return matching(typed, await self._source.sets())
        return suggested(focused, await self._source.names(await self._pack(given, place)), given)

    async def _answered(self, command: str, given: Mapping[str, Value], place: Place) -> Message:
        if command == "pack":
            return await self._choose_pack(given, place)
        if command == "lab":
            self._check_lab(place)
            found = await self._source.lab(str(given["set"]), int(given.get("tries", 10)))
            return message_of("lab", found)
        pack = await self._pack(given, place)
        meant = _meant(given, await self._source.names(pack))
        body = body_of(command, meant, pack)
        answer = await self._source.ask(command, body, JSON)
        if answer.status != 200:
            return _problem(answer)
        read = msgspec.json.decode(answer.body, type=TASKS[command].answer)
        message = message_of(command, read, str(given.get("explain", "none")))
        if command == "coverage" and given.get("picture", True):
            return _with_picture(message, await self._source.ask(command, body, PNG))
        return message

    async def _pack(self, given: Mapping[str, Value], place: Place) -> str | None:
        return str(given["pack"]) if given.get("pack") else await self._servers.pack(place.server)

    async def _choose_pack(self, given: Mapping[str, Value], place: Place) -> Message:
        if place.server is None:
            raise QuestionError("question-impossible", "a pack is chosen for a server", help="use `/pack` in a server")
        if "pack" not in given:
            names = await self._source.names(await self._servers.pack(place.server))
            return said(f"here the pack `{names.pack}` is meant")
        if not place.manages:
            raise QuestionError(
                "question-impossible", "only members who may manage the server choose its pack", help="ask one of them"
            )
        names = await self._source.names(str(given["pack"]))
        await self._servers.choose(place.server, names.pack)
        return said(f"from now on the pack `{names.pack}` is meant here", hidden=False)

    def _check_lab(self, place: Place) -> None:
        """The notebook is that of whoever runs the bot: it is shown only where they said so."""
        if place.server is None or place.server not in self._servers.given:
            raise QuestionError(
                "question-impossible", "the lab notebook is not shown here",
                help="whoever runs the bot names this server in `ADVISOR_DISCORD_PACKS`",
            )  # fmt: skip


def _check(command: str, given: Mapping[str, Value]) -> None:
    """Errors: ``QuestionError`` for a command or options other than those that are registered."""
    options = option_names(command)
    if not options:
        raise QuestionError("value-invalid", f"no command is called `{command}`", help="register the commands again")
    for name in given:
        if name not in options:
            raise QuestionError("value-invalid", f"`{command}` has no `{name}`", help="register the commands again")
    for name, option in options.items():
        kind = {3: str, 4: int, 5: bool}[option["type"]]
        if name in given and type(given[name]) is not kind:
            raise QuestionError("value-invalid", f"`{name}` is `{given[name]}`", help="use what is suggested")
        if option["required"] and name not in given:
            raise QuestionError("value-invalid", f"`{name}` is missing", help=f"add `{name}`")


def _meant(given: Mapping[str, Value], names: Names) -> dict[str, Value]:
    """The options with ids in place of names; what is neither stays, to be refused with the nearest."""
    out = dict(given)
    for side in ("me", "them"):
        if side in out:
            out[side] = _id(str(out[side]), names.characters)
    for option in ("move", "knockdown"):
        if option in out:
            known = names.knockdowns
            if option == "move":
                known = tuple(m for side in ("me", "them") for m in names.moves.get(str(out.get(side, "")), ()))
            out[option] = _id(str(out[option]), known)
    if "moves" in out:
        known = (*names.moves.get(str(out["them"]), ()), *names.system)
        out["moves"] = ",".join(_id(word, known) for word in ids_of(str(out["moves"])))
    return out


def _id(typed: str, known: tuple[Named, ...]) -> str:
    """The id that was typed as such, or as a name or input that only one has."""
    text = typed.strip().lower()
    if any(one.id == typed.strip() for one in known):
        return typed.strip()
    found = {one.id for one in known if text in (one.id.lower(), one.name.lower(), one.input.lower())}
    return found.pop() if len(found) == 1 else typed.strip()


def _problem(answer: Answer) -> Message:
    """The message for problem details."""
    try:
        problem = msgspec.json.decode(answer.body, type=Problem)
    except msgspec.DecodeError:
        return said("something went wrong on our side")
    return _refused(problem.detail, problem.help, problem.pointer)


def _refused(text: str, help: str, pointer: str) -> Message:
    option = option_at(pointer)
    return said(f"{option}: {text}" if option else text, help)


def _with_picture(message: Message, drawn: Answer) -> Message:
    """The message with the picture, or with the reason why there is none."""
    first = message.embeds[0]
    if drawn.status != 200:
        why = _problem(drawn).content.replace("\n", " ")
        text = f"{first.description}\nNo picture: {why}"
        return fitted(
            msgspec.structs.replace(message, embeds=(msgspec.structs.replace(first, description=text),))
        )
    picture = Picture(name="coverage.png", data=drawn.body, media_type=PNG, alt=f"Table of verdicts. {first.title}")
    shown = msgspec.structs.replace(first, image=picture.name)
    return msgspec.structs.replace(message, embeds=(shown,), pictures=(picture,))
