"""Where the bot's answers come from: the packs at hand and a desk, or another service."""

from __future__ import annotations

import asyncio
from typing import Protocol

from advisor.notebook import Notebook, Sets, notebook_url
from advisor.notebook.next_lab import NextLab, next_lab
from advisor.service.bot.names import Named, Names, names_of
from advisor.service.weighing.work import Answer, Desk

__all__ = ["AtHand", "Source"]


class Source(Protocol):
    """What the bot asks. Errors of all: ``AdvisorError``."""

    async def ask(self, task: str, body: bytes, media_type: str) -> Answer:
        """The response to one request, as ``Desk.ask``."""

    async def names(self, pack: str | None) -> Names:
        """What a pack names, the default one when None. Errors: ``pack-unknown``."""

    async def packs(self) -> list[Named]:
        """The packs."""

    async def lab(self, name: str, tries: int) -> NextLab:
        """The next lab list of a study set. Errors: ``set-unknown``."""

    async def sets(self) -> list[Named]:
        """The study sets."""


class AtHand:
    """The desk of this process with its packs, and the lab notebook at ``notebook`` (the user's own when None).

    The packs are looked up each time: they may be read again while the service runs.
    """

    def __init__(self, desk: Desk, notebook: str | None = None) -> None:
        self._desk = desk
        self._notebook = notebook
        self._names: dict[str, tuple[str, Names]] = {}
        self._one_list = asyncio.Lock()

    async def ask(self, task: str, body: bytes, media_type: str) -> Answer:
        """The response to one request."""
        return await self._desk.ask(task, body, media_type)

    async def names(self, pack: str | None) -> Names:
        """What a pack names."""
        found = self._desk.library.shelf(pack).pack
        known = self._names.get(found.id)
        if known is None or known[0] != found.hash:
            known = self._names[found.id] = (found.hash, names_of(found))
        return known[1]

    async def packs(self) -> list[Named]:
        """The loaded packs."""
        return [Named(shelf.pack.id, shelf.pack.name) for shelf in self._desk.library.shelves.values()]

    async def lab(self, name: str, tries: int) -> NextLab:
        """The next lab list, one at a time: it asks many questions, and in this process."""
        async with self._one_list:
            return await asyncio.to_thread(self._list, name, tries)

    async def sets(self) -> list[Named]:
        """The study sets of the notebook."""
        return await asyncio.to_thread(self._sets)

    def _list(self, name: str, tries: int) -> NextLab:
        # The engine of the rules is a C library, which is not called from two threads.
        plain = self._desk.library.with_engine("plain")
        with Notebook(self._notebook or notebook_url()) as notebook:
            return next_lab(Sets(notebook), name, notebook, plain, tries=tries, limit=SHOWN)

    def _sets(self) -> list[Named]:
        with Notebook(self._notebook or notebook_url()) as notebook:
            return [Named(one.name, one.note) for one in Sets(notebook).list()]


SHOWN = 10
"""Items of a lab list: a message has room for about as many."""
