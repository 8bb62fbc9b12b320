"""Which pack is meant in a server of the platform: by the settings, or as its members chose, kept in the store."""

from __future__ import annotations

import asyncio
import logging
import re
import threading
from pathlib import Path

from sqlalchemy.exc import DatabaseError

from advisor.errors import QuestionError
from advisor.notebook import Notebook, notebook_url
from advisor.notebook.connection import read, writing
from advisor.notebook.store import now
from advisor.notebook.tables import bot_servers
from advisor.notebook.where import read_url

__all__ = ["Servers", "packs_by_server"]

_log = logging.getLogger("advisor.service")
CHOSEN = "SELECT pack FROM bot_servers WHERE server = ?"


def packs_by_server(text: str | None) -> dict[str, str]:
    """The packs of ``ADVISOR_DISCORD_PACKS``: ``server=pack`` with commas. Errors: ``QuestionError``."""
    out: dict[str, str] = {}
    for part in (text or "").split(","):
        if not part.strip():
            continue
        server, _, pack = (word.strip() for word in part.partition("="))
        if not re.fullmatch(r"[0-9]{1,20}", server) or not pack:
            raise QuestionError(
                "value-invalid", f"`ADVISOR_DISCORD_PACKS` has `{part.strip()}`",
                help="`server=pack` with commas between them; a server's id is a number of up to 20 digits",
            )  # fmt: skip
        out[server] = pack
    return out


class Servers:
    """The pack of each server; what members chose goes before ``given`` (settings), and outlives the process.

    ``address`` is that of the store, the user's own when left out. It is opened when it is needed.
    """

    def __init__(self, given: dict[str, str], address: str | None = None) -> None:
        self.given = given
        self._address = address
        self._notebook: Notebook | None = None
        self._opening = threading.Lock()

    async def pack(self, server: str | None) -> str | None:
        """The pack that is meant there; None: the default one, also when the store cannot be read (logged)."""
        if server is None:
            return None
        try:
            chosen = await asyncio.to_thread(self._chosen, server)
        except (QuestionError, DatabaseError) as error:
            _log.error("the packs that servers chose cannot be read: %s", error)
            chosen = None
        return chosen or self.given.get(server)

    async def choose(self, server: str, pack: str) -> None:
        """Mean that pack there from now on: on disk when this returns. Errors: ``QuestionError``."""
        try:
            await asyncio.to_thread(self._choose, server, pack)
        except DatabaseError as error:
            _log.error("the pack of a server cannot be kept: %s", error)
            raise QuestionError("value-invalid", "the choice could not be kept", help="try again later") from None

    async def close(self) -> None:
        """Let go of the store."""
        if self._notebook is not None:
            await asyncio.to_thread(self._notebook.close)

    def _open(self) -> Notebook:
        with self._opening:
            if self._notebook is None:
                self._notebook = Notebook(self._address or notebook_url())
            return self._notebook

    def _chosen(self, server: str) -> str | None:
        url = read_url(self._address or notebook_url())
        if url.get_backend_name() == "sqlite" and not Path(str(url.database)).is_file():
            return None  # Reading makes no file.
        found = read(self._open().engine, CHOSEN, server)
        return str(found[0][0]) if found else None

    def _choose(self, server: str, pack: str) -> None:
        with writing(self._open().engine) as connection:
            connection.execute(bot_servers.delete().where(bot_servers.c.server == server))
            connection.execute(bot_servers.insert().values(server=server, pack=pack, time=now()))
