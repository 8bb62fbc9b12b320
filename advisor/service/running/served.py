"""What the service answers from: a library and the desk that weighs on it, exchanged in one step.

A reload prepares the new ones beside the old: data read off the loop, workers started. Only then do they take the
place; what is being asked goes on with the old desk, which ends when the last of it is answered.
"""

from __future__ import annotations

import asyncio
import contextlib
import inspect
import logging
import time
from collections.abc import Awaitable, Callable
from typing import Annotated, Any

from litestar import Request
from msgspec import Meta, Struct

from advisor.errors import AdvisorError, DataError
from advisor.library import Library
from advisor.service.running.copies import Copies
from advisor.service.settings import Settings
from advisor.service.weighing.work import Desk

__all__ = ["Change", "Data", "Hashes", "Reloaded", "Served", "changes", "hashes_of", "refused", "served_of"]

_log = logging.getLogger("advisor.service")
MakeDesk = Callable[[Library, Settings], Desk]
Told = Callable[[], Any]


class Hashes(Struct, frozen=True, kw_only=True):
    """What a pack and its rules are, by their hashes."""

    version: str
    pack: str
    rules: str


class Change(Struct, frozen=True, kw_only=True):
    """One pack after a reload, beside what it was before."""

    id: Annotated[str, Meta(description="Pack id.")]
    change: Annotated[str, Meta(description="`added`, `removed`, `changed` or `same`.")]
    version: Annotated[str | None, Meta(description="The pack's version now; null: the pack is gone.")] = None
    hash: Annotated[str | None, Meta(description="Hash of the pack's content now.")] = None
    rules: Annotated[str | None, Meta(description="Hash of the rules that hold for it now.")] = None
    old_hash: Annotated[str | None, Meta(description="Hash of the pack's content before; null: it was not there.")] = (
        None
    )
    old_rules: Annotated[str | None, Meta(description="Hash of the rules that held for it before.")] = None


class Reloaded(Struct, frozen=True, kw_only=True):
    """Packs and rules were read again, and hold now in every process of the service."""

    packs: list[Change]
    servers: Annotated[int, Meta(ge=1, description="Server processes that answer from them.")]
    seconds: Annotated[float, Meta(ge=0, description="Seconds that it took.")]


def hashes_of(library: Library) -> dict[str, Hashes]:
    """The hashes of a library by pack id."""
    return {
        key: Hashes(version=shelf.pack.version, pack=shelf.pack.hash, rules=shelf.rules.hash)
        for key, shelf in library.shelves.items()
    }


def changes(old: dict[str, Hashes], new: dict[str, Hashes]) -> list[Change]:
    """What is different, pack by pack; those that are gone come last."""
    out = []
    for key in [*new, *(gone for gone in old if gone not in new)]:
        before, after = old.get(key), new.get(key)
        word = "added" if before is None else "removed" if after is None else "changed"
        out.append(
            Change(
                id=key, change="same" if before == after else word, version=after.version if after else None,
                hash=after.pack if after else None, rules=after.rules if after else None,
                old_hash=before.pack if before else None, old_rules=before.rules if before else None,
            )
        )  # fmt: skip
    return out


def refused(error: AdvisorError) -> AdvisorError:
    """The error of a reload that was not taken, with every finding in its text."""
    said = error.message
    if isinstance(error, DataError):
        faults = [one for one in error.findings if one.severity == "error"]
        said = "\n".join([f"{len(faults)} fault(s) in the data", *(one.shown() for one in faults)])
    return AdvisorError("reload-refused", said, help="everything stays as it was; mend the files and reload again")


class Data(Struct):
    """One library with its desk; ``users`` counts what is being asked, ``idle`` is set while that is nothing."""

    library: Library
    desk: Desk
    settings: Settings
    idle: asyncio.Event
    users: int = 0


class _AtHand(Desk):
    """A desk that is always the one that holds: routes keep it while the data behind it are exchanged."""

    def __init__(self, served: Served) -> None:
        asked = [name for name in dir(Desk) if inspect.iscoroutinefunction(getattr(Desk, name))]
        self.__dict__.update(_served=served, _asked={name: _counted(served, name) for name in asked})

    def __getattribute__(self, name: str) -> Any:
        if name.startswith("__"):
            return object.__getattribute__(self, name)
        own: dict[str, Any] = object.__getattribute__(self, "__dict__")
        asked = own["_asked"].get(name)
        return getattr(own["_served"].holding.desk, name) if asked is None else asked


def _counted(served: Served, name: str) -> Callable[..., Awaitable[Any]]:
    async def asked(*given: Any, **more: Any) -> Any:
        # Only now: between naming the function and calling it, a body may still be read.
        holding = served.holding
        holding.users += 1
        holding.idle.clear()
        try:
            return await getattr(holding.desk, name)(*given, **more)
        finally:
            holding.users -= 1
            if not holding.users:
                holding.idle.set()

    return asked


class Served:
    """The library and the desk of a service, and how they are exchanged.

    ``make`` gives a desk for a library that was read again. ``reload`` does it for the whole service: by itself, or
    through whoever watches over several servers (``by``). ``told`` are called after each exchange, ``beats``
    now and then when there are several servers; ``load`` reads data.
    """

    def __init__(self, settings: Settings, library: Library, desk: Desk, make: MakeDesk, copies: Copies | None) -> None:
        self.holding = Data(library, desk, settings, _set())
        self.desk: Desk = _AtHand(self)
        self.copies = copies or Copies(settings)
        self.load: Callable[[Settings], Library] = self.copies.load
        self.make = make
        self.told: list[Told] = []
        self.beats: list[Callable[[], None]] = []
        self.by: Callable[[], Awaitable[Reloaded]] = self._alone
        self.reloads = {"ok": 0, "refused": 0}
        self.up = False
        self._one_by_one = asyncio.Lock()
        self._ending: set[asyncio.Task[None]] = set()

    @property
    def library(self) -> Library:
        """The library that holds."""
        return self.holding.library

    async def start(self) -> None:
        """Start the desk."""
        await self.holding.desk.start()
        self.up = True

    async def stop(self) -> None:
        """Stop the desk, and those that are still ending."""
        self.up = False
        for task in self._ending:
            task.cancel()
        await asyncio.gather(*self._ending, return_exceptions=True)
        await self.holding.desk.stop()
        await asyncio.to_thread(self.copies.close)

    async def reload(self) -> Reloaded:
        """Read packs and rules again, all or nothing. Errors: ``AdvisorError`` ``reload-refused``."""
        return await self.by()

    async def _alone(self) -> Reloaded:
        async with self._one_by_one:
            began = time.monotonic()
            old = hashes_of(self.library)
            try:
                taken = await asyncio.to_thread(self.copies.take)
                try:
                    fresh = await self.prepare(taken)
                except BaseException:
                    self.copies.refuse(taken)
                    raise
            except AdvisorError as error:
                self.reloads["refused"] += 1
                _log.error("the reload was refused: %s", error.message)
                raise refused(error) from None
            self.take(fresh)
            await asyncio.to_thread(self.copies.settle)
            self.reloads["ok"] += 1
            found = changes(old, hashes_of(fresh.library))
            return Reloaded(packs=found, servers=1, seconds=round(time.monotonic() - began, 3))

    async def prepare(self, settings: Settings) -> Data:
        """A library and a desk that works, beside those that hold. Errors: ``DataError``, ``AdvisorError``."""
        library = await asyncio.to_thread(self.load, settings)
        desk = self.make(library, settings)
        try:
            await desk.start()
        except BaseException:
            await desk.stop()
            raise
        return Data(library, desk, settings, _set())

    def take(self, fresh: Data) -> None:
        """Let ``fresh`` hold from now on; the old desk ends when it has answered what it was asked."""
        old, self.holding = self.holding, fresh
        task = asyncio.get_running_loop().create_task(self._end(old))
        self._ending.add(task)
        task.add_done_callback(self._ending.discard)
        for told in self.told:
            said = told()
            if inspect.isawaitable(said):
                follow = asyncio.ensure_future(_logged(said))
                self._ending.add(follow)
                follow.add_done_callback(self._ending.discard)
        shown = ", ".join(f"{k} {s.pack.version} {s.pack.hash[:12]}" for k, s in fresh.library.shelves.items())
        _log.info("the data were read again: %s", shown)

    @staticmethod
    async def _end(old: Data) -> None:
        try:
            await old.idle.wait()
        finally:
            await old.desk.stop()

    @staticmethod
    async def drop(fresh: Data) -> None:
        """End what was prepared and is not wanted after all."""
        await fresh.desk.stop()


def _set() -> asyncio.Event:
    event = asyncio.Event()
    event.set()
    return event


async def _logged(said: Awaitable[Any]) -> None:
    with contextlib.suppress(asyncio.CancelledError):
        try:
            await said
        except Exception as error:
            _log.error("something could not follow the reload", exc_info=error)


def served_of(request: Request[Any, Any, Any]) -> Served:
    """What the application answers from; a dependency of the framework's would cost a kept answer a tenth more."""
    found: Served = request.app.served  # type: ignore[attr-defined]
    return found
