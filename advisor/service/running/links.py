"""What a server process and the one that watches over it say to each other, and the server's end of that line.

A reload of all servers has two steps, so that either all take the new data or none: each prepares them (``Prepare``,
answered by ``Prepared`` or ``Refused``), then all take them (``Take``) or none (``Drop``).
"""

from __future__ import annotations

import asyncio
import logging
from multiprocessing.connection import Connection
from typing import NamedTuple

from advisor.errors import AdvisorError, DataError, Finding
from advisor.service.running.served import Data, Hashes, Reloaded, Served, hashes_of
from advisor.service.settings import Settings
from advisor.service.weighing.work import load_settings

__all__ = ["Alive", "Drop", "Link", "Outcome", "Prepare", "Prepared", "Refused", "Take", "Taken", "Up", "Wish"]

BEAT = 1.0
"""Seconds between two signs of life."""
_log = logging.getLogger("advisor.service")


class Up(NamedTuple):
    """The server answers requests."""

    hashes: dict[str, Hashes]


class Alive(NamedTuple):
    """The server's loop runs."""

    alive: bool = True


class Wish(NamedTuple):
    """The server was asked for a reload, and asks for one of all servers."""

    number: int


class Outcome(NamedTuple):
    """What became of a wish."""

    number: int
    reloaded: Reloaded | None
    refused: str = ""


class Prepare(NamedTuple):
    """Read the data that the settings name, and be ready to answer from them."""

    settings: Settings


class Prepared(NamedTuple):
    """They are read; ``hashes`` by pack id."""

    hashes: dict[str, Hashes]


class Refused(NamedTuple):
    """They cannot be used: the findings, or else the message."""

    findings: tuple[Finding, ...]
    message: str

    def error(self) -> AdvisorError:
        """As an error of the data."""
        return DataError(self.findings) if self.findings else AdvisorError("data-faulty", self.message)

    @staticmethod
    def of(error: AdvisorError) -> Refused:
        """The refusal for an error."""
        return Refused(error.findings if isinstance(error, DataError) else (), error.message)


class Take(NamedTuple):
    """Answer from what was prepared; ``counted`` as a reload (one server does, for all)."""

    counted: bool


class Taken(NamedTuple):
    """It answers from them."""

    taken: bool = True


class Drop(NamedTuple):
    """Forget what was prepared."""

    counted: bool


class Link:
    """A server's end of the line; it lives on the loop of the server."""

    def __init__(self, pipe: Connection, served: Served) -> None:
        self.pipe, self.served = pipe, served
        self._fresh: Data | None = None
        self._wishes: dict[int, asyncio.Future[Reloaded]] = {}
        self._tasks: set[asyncio.Task[None]] = set()
        # Copies are made by the one who watches.
        served.by, served.load = self.wish, load_settings

    def up(self) -> None:
        """Say that the server answers, and listen from now on."""
        loop = asyncio.get_running_loop()
        loop.add_reader(self.pipe.fileno(), self._hear)
        self._send(Up(hashes_of(self.served.library)))
        self._keep(self._beat())

    def _keep(self, work: object) -> None:
        task = asyncio.ensure_future(work)  # type: ignore[call-overload]
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    async def _beat(self) -> None:
        while True:
            await asyncio.sleep(BEAT)
            self._send(Alive())
            for beat in self.served.beats:
                beat()

    def _send(self, said: object) -> None:
        try:
            self.pipe.send(said)
        except OSError:
            # The one who watched is gone, and this process ends by that, see ``end_with_the_server``.
            _log.error("nobody watches over this server any more")

    def _hear(self) -> None:
        try:
            said = self.pipe.recv()
        except (EOFError, OSError):
            asyncio.get_running_loop().remove_reader(self.pipe.fileno())
            return
        if isinstance(said, Outcome):
            wish = self._wishes.pop(said.number, None)
            if wish is not None and not wish.done():
                if said.reloaded is None:
                    help = "everything stays as it was; mend the files and reload again"
                    wish.set_exception(AdvisorError("reload-refused", said.refused, help=help))
                else:
                    wish.set_result(said.reloaded)
        else:
            self._keep(self._follow(said))

    async def _follow(self, said: object) -> None:
        reloads = self.served.reloads
        if isinstance(said, Prepare):
            self._send(await self._prepare(said.settings))
        elif isinstance(said, Take):
            fresh, self._fresh = self._fresh, None
            if fresh is not None:
                self.served.take(fresh)
            reloads["ok"] += said.counted
            self._send(Taken())
        elif isinstance(said, Drop):
            fresh, self._fresh = self._fresh, None
            reloads["refused"] += said.counted
            if fresh is not None:
                await self.served.drop(fresh)

    async def _prepare(self, settings: Settings) -> Prepared | Refused:
        try:
            self._fresh = await self.served.prepare(settings)
        except AdvisorError as error:
            return Refused.of(error)
        except Exception as error:
            _log.error("the data could not be prepared", exc_info=error)
            return Refused((), "the service could not get ready to answer from the data")
        return Prepared(hashes_of(self._fresh.library))

    async def wish(self) -> Reloaded:
        """A reload of all servers. Errors: ``AdvisorError`` ``reload-refused``."""
        number = max(self._wishes, default=0) + 1
        wish: asyncio.Future[Reloaded] = asyncio.get_running_loop().create_future()
        self._wishes[number] = wish
        self._send(Wish(number))
        return await wish
