"""Keys as requests need them: looked up off the loop, and known for a few seconds, so that most cost no look at all."""

from __future__ import annotations

import asyncio
import logging
import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from contextlib import suppress
from datetime import datetime
from typing import NamedTuple, TypeVar

from advisor.service.access.caller import AccessError, challenge
from advisor.service.access.keys import Record, hash_of, read_id, same
from advisor.service.access.store import KeyStore, hour
from advisor.service.problems import RETRY_AFTER

__all__ = ["FRESH", "KnownKeys", "Valid"]

FRESH = 5.0
"""Seconds for which a key is known: one that is revoked works no longer than that."""
STALE = 60.0
"""Seconds for which a key that was seen still holds while the store does not answer."""
PATIENCE = 2.0
"""Seconds that the store has to answer."""
AGAIN = 5.0
"""Seconds until a store that did not answer is asked again."""
MOST = 10_000
"""Ids that are known, also those that there are not."""
NONE = "0" * 64
T = TypeVar("T")
_log = logging.getLogger("advisor.service")


class Valid(NamedTuple):
    """A key that holds."""

    id: str
    scopes: frozenset[str]


class _Known(NamedTuple):
    record: Record | None
    scopes: frozenset[str]
    expires: float
    at: float


class KnownKeys:
    """What is known of keys; ``clock`` gives seconds. For one loop."""

    def __init__(self, store: KeyStore, *, clock: Callable[[], float] = time.monotonic) -> None:
        self._store, self._clock = store, clock
        self._known: OrderedDict[str, _Known] = OrderedDict()
        self._looking: dict[str, asyncio.Task[_Known | None]] = {}
        self._uses: set[asyncio.Task[None]] = set()
        self._away_until = float("-inf")
        self._told = False

    def fresh(self, text: str) -> bool:
        """Whether the key can be told without a look into the store."""
        id = read_id(text)
        found = None if id is None else self._known.get(id)
        return id is None or (found is not None and self._clock() - found.at < FRESH)

    async def find(self, text: str) -> Valid:
        """The key that the text is.

        Errors: ``AccessError`` ``key-invalid``, and ``keys-unavailable`` when the store does not answer.
        """
        id = read_id(text)
        if id is None:
            raise _invalid("what was given is no key", "a key has the form `sak_<id>_<secret>`")
        found = self._known.get(id)
        if found is None or self._clock() - found.at >= FRESH:
            found = await self._look(id)
        record = found.record
        # Also an id that there is not is compared with something.
        if not same(record.hash if record else NONE, hash_of(text)) or record is None:
            raise _invalid("the key is not known", "`advisor keys list` shows which there are")
        if record.revoked is not None:
            raise _invalid("the key was revoked", "ask for another")
        if found.expires <= time.time():
            raise _invalid(f"the key expired at {record.expires}", "ask for another")
        return Valid(id, found.scopes)

    async def _look(self, id: str) -> _Known:
        """What the store says, at most one look at a time for each id."""
        task = self._looking.get(id)
        if task is None:
            task = self._looking[id] = asyncio.ensure_future(self._read(id))
        said = await asyncio.shield(task)
        found = said or self._known.get(id)
        if found is None or self._clock() - found.at > STALE:
            raise AccessError(
                "keys-unavailable", "the store of the keys does not answer", help="try again in a moment",
                headers={"Retry-After": str(RETRY_AFTER)},
            )  # fmt: skip
        return found

    async def _read(self, id: str) -> _Known | None:
        try:
            if self._clock() < self._away_until:
                return None
            try:
                record = await _aside(lambda: self._store.find(id))
            except Exception as error:
                self._lost(str(error) or "it took too long")
                return None
        finally:
            del self._looking[id]
        self._told = False
        known = self._known[id] = _read(record, self._clock())
        self._known.move_to_end(id)
        if len(self._known) > MOST:
            self._known.popitem(last=False)
        if record is not None and record.revoked is None and record.used != hour():
            task = asyncio.ensure_future(self._use(id))
            self._uses.add(task)
            task.add_done_callback(self._uses.discard)
        return known

    async def _use(self, id: str) -> None:
        when = hour()
        try:
            await _aside(lambda: self._store.use(id, when))
        except Exception as error:
            _log.warning("the use of a key could not be written down: %s", str(error).partition("\n")[0])

    def _lost(self, why: str) -> None:
        self._away_until = self._clock() + AGAIN
        if not self._told:
            self._told = True
            _log.error("the store of the keys does not answer: %s", why.partition("\n")[0])

    async def close(self) -> None:
        """Let go of the store."""
        if self._uses:
            await asyncio.wait(self._uses, timeout=PATIENCE)
        await asyncio.to_thread(self._store.close)


def _read(record: Record | None, at: float) -> _Known:
    if record is None:
        return _Known(None, frozenset(), 0.0, at)
    end = float("inf") if record.expires is None else datetime.fromisoformat(record.expires).timestamp()
    return _Known(record, frozenset(record.scopes.split()), end, at)


def _invalid(said: str, help: str) -> AccessError:
    return AccessError("key-invalid", said, help=help, headers=challenge("invalid_token", error_description=said))


async def _aside(run: Callable[[], T]) -> T:
    """What ``run`` gives, off the loop. Errors: its own, and ``TimeoutError``; it is not waited for then."""
    loop = asyncio.get_running_loop()
    said: asyncio.Future[T] = loop.create_future()

    def settle(value: T | None, error: BaseException | None) -> None:
        if not said.done():
            said.set_exception(error) if error is not None else said.set_result(value)  # type: ignore[arg-type]

    def go() -> None:
        try:
            value, error = run(), None
        except BaseException as raised:
            value, error = None, raised
        with suppress(RuntimeError):  # the loop may be gone by now
            loop.call_soon_threadsafe(settle, value, error)

    # A thread of the pool that a database holds up would be missing there, and hold up the end of the process.
    threading.Thread(target=go, daemon=True, name="keys").start()
    async with asyncio.timeout(PATIENCE):
        return await said
