"""The platform's HTTP interface, as far as the bot calls it: following up a command, and registering commands.

Source: the platform's reference, "Edit Original Interaction Response" and "Bulk Overwrite Application Commands".
"""

from __future__ import annotations

import asyncio
import logging
import time
from typing import Any
from urllib.parse import quote

import httpx
import msgspec

from advisor.errors import AdvisorError
from advisor.service.bot.message import Message, payload
from advisor.service.bot.replies import said

__all__ = ["LIFE", "Platform"]

LIFE = 15 * 60
"""Seconds for which the token of an interaction may be used."""
TIMEOUT = 10.0
TRIES = 5
PAUSE = 0.5
"""Seconds before the second try where nothing was said; doubled for each further one."""
_log = logging.getLogger("advisor.service")
# The library logs addresses, and an interaction's token is in them.
logging.getLogger("httpx").setLevel(logging.WARNING)


class Platform:
    """Calls to the platform at ``base`` (an address with the version in it); made when the first is needed."""

    def __init__(self, base: str) -> None:
        self._base = base.rstrip("/")
        self._made: httpx.AsyncClient | None = None

    async def close(self) -> None:
        """Close the connections."""
        if self._made is not None:
            await self._made.aclose()
            self._made = None

    async def follow_up(self, application: str, token: str, message: Message, began: float) -> bool:
        """Put the message where the command is still "thinking"; whether it got there.

        ``began`` is the ``time.monotonic`` of the interaction: nothing is tried once its token has expired. A message
        that the platform refuses is replaced by a plain one that says so.
        """
        path = f"/webhooks/{quote(application, safe='')}/{quote(token, safe='')}/messages/@original"
        status, text = await self._try("PATCH", path, began + LIFE, again={404}, **_form(message))
        if status in (400, 413):
            _log.error("the platform refused a message of the bot (%d): %s", status, text[:500])
            plain = said("the answer could not be delivered", "ask for less, or without the picture")
            status, text = await self._try("PATCH", path, began + LIFE, again={404}, **_form(plain))
        if status != 200:
            _log.error("an answer of the bot was not delivered (%d): %s", status, text[:500])
        return status == 200

    async def register(
        self, application: str, token: str, commands: list[dict[str, Any]], guild: str | None = None
    ) -> int:
        """Replace all commands of the application, or of it in one server; how many there are now.

        Errors: ``AdvisorError`` ``fault`` with what the platform said.
        """
        where = f"/guilds/{quote(guild, safe='')}" if guild else ""
        path = f"/applications/{quote(application, safe='')}{where}/commands"
        headers = {"authorization": f"Bot {token}", "content-type": "application/json"}
        body = msgspec.json.encode(commands)
        status, text = await self._try("PUT", path, time.monotonic() + 120, headers=headers, content=body)
        if status != 200:
            right = {401: "check `ADVISOR_DISCORD_TOKEN`", 403: "invite the application into the server first",
                     404: "check `ADVISOR_DISCORD_APPLICATION`"}  # fmt: skip
            raise AdvisorError("fault", f"the platform did not take the commands ({status}): {text[:500]}",
                               help=right.get(status, "try again later"))  # fmt: skip
        return len(msgspec.json.decode(text, type=list[Any]))

    async def _try(
        self, method: str, path: str, until: float, again: set[int] | None = None, **request: Any
    ) -> tuple[int, str]:
        """Status and text of a call, tried again where that may help; status 0: nothing came back.

        ``again`` are statuses that mend by themselves: a follow-up may overtake the reply that it belongs to.
        """
        status, text, pause = 0, "", PAUSE
        for left in reversed(range(TRIES)):
            wait = pause
            try:
                came = await self._client().request(method, f"{self._base}{path}", **request)
                status, text = came.status_code, came.text
                wait = _told(came) if status == 429 else pause
            except httpx.RequestError as error:
                status, text = 0, type(error).__name__
            mends = status in (0, 429) or status >= 500 or status in (again or ())
            if not mends or not left or time.monotonic() + wait > until:
                break
            await asyncio.sleep(wait)
            pause *= 2
        return status, text

    def _client(self) -> httpx.AsyncClient:
        if self._made is None:
            self._made = httpx.AsyncClient(timeout=TIMEOUT, headers={"user-agent": "situation-advisor (study bot)"})
        return self._made


def _told(came: httpx.Response) -> float:
    """Seconds that a 429 says to wait."""
    for text in (came.headers.get("retry-after", ""), came.headers.get("x-ratelimit-reset-after", "")):
        try:
            return min(max(float(text), 0.0), float(LIFE))
        except ValueError:
            continue
    return 1.0


def _form(message: Message) -> dict[str, Any]:
    """The message as the HTTP library takes it: JSON, or a form with its files (multipart)."""
    # Who sees it was settled by the first reply, and cannot be told again.
    body = msgspec.json.encode(payload(msgspec.structs.replace(message, hidden=False)))
    if not message.pictures:
        return {"content": body, "headers": {"content-type": "application/json"}}
    files: list[tuple[str, Any]] = [("payload_json", (None, body, "application/json"))]
    files += [(f"files[{i}]", (p.name, p.data, p.media_type)) for i, p in enumerate(message.pictures)]
    return {"files": files}
