"""The notebook of a server: opened when it is first used, never on the loop, its failures as problems."""

from __future__ import annotations

import asyncio
import logging
import sqlite3
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING, Any, TypeVar

from advisor.errors import AdvisorError, QuestionError
from advisor.service.settings import Settings

if TYPE_CHECKING:
    from advisor.notebook import Notebook

__all__ = ["Notes", "address_of", "notebook_at", "told"]

PATIENCE = 10.0
"""Seconds that the store has to answer."""
THREADS = 8
"""Most threads that work on the store at once; the others wait, for as long as the store has to answer."""
T = TypeVar("T")
_log = logging.getLogger("advisor.service")
FULL = ("disk is full", "disk full", "no space left", "quota exceeded")


def address_of(settings: Settings) -> str:
    """The notebook's address: the setting, or else the file of the data folder."""
    from advisor.notebook.where import notebook_url

    return settings.notebook or notebook_url()


@contextmanager
def told() -> Iterator[None]:
    """What a database says, as problems. Errors: ``AdvisorError`` ``store-full``, ``store-unreachable``, and
    ``value-invalid`` for a value that it cannot hold.
    """
    from sqlalchemy.exc import DataError, SQLAlchemyError

    try:
        yield
    except DataError as error:
        _log.warning("the store refused a value: %s", error.orig)
        raise AdvisorError(
            "value-invalid", "the store cannot hold one of the values", help="leave out characters that nobody can see"
        ) from None
    except QuestionError as error:
        # A connection that is refused is told as a wrong address, which it was not when the service began.
        if not isinstance(error.__context__, SQLAlchemyError):
            raise
        _log.error("the store failed: %s", error.message)
        raise _problem(error.message) from None
    except (SQLAlchemyError, sqlite3.Error, OSError) as error:
        _log.error("the store failed: %s", str(error).splitlines()[0])
        raise _problem(str(error)) from None


@contextmanager
def notebook_at(address: str) -> Iterator[Notebook]:
    """The notebook at an address, closed at the end. Errors: as ``told``; one that cannot be opened is unreachable."""
    with told():
        notebook = _open(address)
        try:
            yield notebook
        finally:
            notebook.close()


def _open(address: str) -> Notebook:
    from advisor.notebook import Notebook

    try:
        return Notebook(address)
    except AdvisorError as error:
        # Where it is, and what is wrong with it, is for the log: the caller can do nothing about it.
        _log.error("the store cannot be opened: %s", error.message)
        raise _problem(error.message) from None


class Notes:
    """The notebook at the address of the settings, for the routes."""

    def __init__(self, settings: Settings) -> None:
        self._settings = settings
        self._notebook: Notebook | None = None
        self._lock = threading.Lock()
        self._room = asyncio.Semaphore(THREADS)

    async def use(self, work: Callable[[Notebook], T]) -> T:
        """What ``work`` makes of the notebook, in a thread. What it wrote is on disk when this returns.

        Errors: ``AdvisorError`` as ``work`` raises them, and as ``told``; ``store-unreachable`` when it takes longer
        than ``PATIENCE``: it is not waited for then, and may still be done.
        """
        try:
            async with asyncio.timeout(PATIENCE):
                await self._room.acquire()
                return await self._aside(lambda: self._use(work))
        except TimeoutError:
            _log.error("the store did not answer within %g seconds", PATIENCE)
            raise _problem("it took too long") from None

    async def _aside(self, run: Callable[[], T]) -> T:
        # Threads of its own, since others must not wait when a database hangs; nor must the end of the process.
        loop = asyncio.get_running_loop()
        done: asyncio.Future[T] = loop.create_future()

        def settle(found: T | None, error: BaseException | None) -> None:
            self._room.release()
            if not done.done():
                done.set_exception(error) if error is not None else done.set_result(found)  # type: ignore[arg-type]

        def thread() -> None:
            found: Any = None
            fault: BaseException | None = None
            try:
                found = run()
            except BaseException as error:
                fault = error
            with suppress(RuntimeError):  # The loop is gone: so is who waited.
                loop.call_soon_threadsafe(settle, found, fault)

        threading.Thread(target=thread, daemon=True, name="notes").start()
        return await done

    def _use(self, work: Callable[[Notebook], T]) -> T:
        with told():
            return work(self._opened())

    def _opened(self) -> Notebook:
        with self._lock:
            if self._notebook is None:
                self._notebook = _open(address_of(self._settings))
            return self._notebook

    async def close(self) -> None:
        """Let go of it."""
        notebook, self._notebook = self._notebook, None
        if notebook is not None:
            await asyncio.to_thread(notebook.close)


def _problem(said: str) -> AdvisorError:
    if any(word in said.lower() for word in FULL):
        return AdvisorError(
            "store-full", "the store has no room left; nothing was written",
            help="make room on its disk, then send the same again",
        )  # fmt: skip
    return AdvisorError(
        "store-unreachable", "the store does not answer; what was not acknowledged may not be written",
        help="send the same again in a moment, with the same `Idempotency-Key` when you write a trial",
    )  # fmt: skip
