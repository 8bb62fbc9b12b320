"""The lab notebook as answers need it: the trials of a question's situation, and whether there are new ones.

It may be a database somewhere else. One that does not answer costs an answer its trials and a moment, never itself.
"""

from __future__ import annotations

import asyncio
import logging
import queue
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple, TypeVar

from msgspec import Struct

from advisor.advice import Advice, TrialRules, Tried
from advisor.errors import AdvisorError
from advisor.facts import Question
from advisor.library import Library
from advisor.sentences import say
from advisor.service.settings import Settings

if TYPE_CHECKING:
    from advisor.notebook import Notebook

__all__ = ["Place", "Revisions", "Trials"]

PATIENCE = 2.0
"""Seconds that the notebook has to answer."""
AGAIN = 5.0
"""Seconds until one that did not answer is asked again."""
LOOK = 1.0
"""Seconds for which a revision counts: an answer that is kept is no further behind the notebook."""
AWAY, NONE = "away", "none"
T = TypeVar("T")
_log = logging.getLogger("advisor.service")


class Away(Exception):
    """The notebook cannot be reached."""


class Place(NamedTuple):
    """Where the notebook is: its address, and the file that has to be there before there is one."""

    url: str
    file: Path | None

    @classmethod
    def of(cls, settings: Settings) -> Place:
        """The place that the settings name, or else the default one. Errors: ``QuestionError`` for what is none."""
        from advisor.notebook.where import notebook_url, read_url

        address = settings.notebook or notebook_url()
        url = read_url(address)
        given = settings.notebook is not None or url.get_backend_name() != "sqlite"
        return cls(address, None if given else Path(str(url.database)))


class Trials:
    """The notebook that the settings name, else the one at the default place once there is one. For several threads.

    What reads databases takes a while to load, so a process that is told the ``place`` loads it when there is something
    to read. Errors: as ``Place.of``.
    """

    def __init__(self, settings: Settings, place: Place | None = None) -> None:
        self.settings = settings
        self.rules = TrialRules(least=settings.trials_least, confidence=settings.trials_confidence / 100)
        self.place = place or Place.of(settings)
        self._notebook: Notebook | None = None
        self._lock = threading.Lock()
        self._away_until = 0.0
        self._told = False

    @property
    def label(self) -> str:
        """What the settings say about trials: part of what an answer hangs on."""
        return f"{self.settings.trials} {self.settings.trials_least} {self.settings.trials_confidence}"

    def advise(self, library: Library, question: Question) -> Advice:
        """The advice, with what was tried; without, and with a word on it, when the notebook cannot be reached.

        Errors: as ``Library.ask``.
        """
        if (question.trials or self.settings.trials) == "ignore":
            return library.ask(question)
        pack = library.shelf(question.pack).pack

        def read(notebook: Notebook) -> Tried | None:
            from advisor.notebook.tried import tried_for

            return tried_for(notebook, question, pack, self.settings.trials, self.rules)

        try:
            tried = self._ask(read)
        except Away:
            advice = library.ask(question)
            advice.cautions.append(say("the lab notebook cannot be reached: trials are left out"))
            return advice
        return library.ask(question, tried)

    def revision(self) -> str:
        """Another text once there are other trials; ``away`` when the notebook cannot be reached."""
        try:
            found = self._ask(lambda notebook: notebook.revision())
        except Away:
            return AWAY
        return NONE if found is None else str(found)

    def load(self) -> None:
        """Load what reads the notebook, if there is one: else the first question would wait for it."""
        if self._there():
            import advisor.notebook.tried  # noqa: F401

    def _ask(self, read: Callable[[Notebook], T]) -> T | None:
        """What ``read`` finds in the notebook; None when there is no notebook. Errors: ``Away``, ``AdvisorError``."""
        if not self._there():
            return None
        if time.monotonic() < self._away_until:
            raise Away
        try:
            found = _in_time(lambda: read(self._open()))
        except AdvisorError:
            if self._notebook is not None:  # It was read: the question is at fault.
                raise
            self._lost("it cannot be opened")
            raise Away from None
        except Exception as error:
            self._lost(str(error) or type(error).__name__)
            raise Away from None
        self._told = False
        return found

    def _there(self) -> bool:
        """Whether there is a notebook: one that was never written at the default place is none."""
        file = self.place.file
        return file is None or self._notebook is not None or file.is_file()

    def _open(self) -> Notebook:
        with self._lock:
            if self._notebook is None:
                from advisor.notebook import Notebook

                self._notebook = Notebook(self.place.url)
            return self._notebook

    def _lost(self, why: str) -> None:
        self._away_until = time.monotonic() + AGAIN
        if not self._told:
            self._told = True
            _log.error("the lab notebook cannot be reached, answers go without trials: %s", why.splitlines()[0])

    def close(self) -> None:
        """Let go of the notebook."""
        notebook, self._notebook = self._notebook, None
        if notebook is not None:
            notebook.close()


class _Said(Struct):
    value: object = None
    error: BaseException | None = None


def _in_time(read: Callable[[], T]) -> T:
    """What ``read`` gives. Errors: its own, and ``TimeoutError`` after ``PATIENCE``; it is not waited for then."""
    said: queue.SimpleQueue[_Said] = queue.SimpleQueue()

    def run() -> None:
        try:
            said.put(_Said(read()))
        except BaseException as error:
            said.put(_Said(error=error))

    # A thread that a database holds up must not hold up the end of the process.
    threading.Thread(target=run, daemon=True, name="trials").start()
    try:
        found = said.get(timeout=PATIENCE)
    except queue.Empty:
        raise TimeoutError(f"no answer within {PATIENCE:g} seconds") from None
    if found.error is not None:
        raise found.error
    return found.value  # type: ignore[return-value]


class Revisions:
    """The notebook's revision, looked up off the loop and at most once a second, however many ask."""

    def __init__(self, trials: Trials) -> None:
        self._trials = trials
        self._known = ""
        self._at = float("-inf")
        self._look: asyncio.Task[None] | None = None

    async def now(self) -> str:
        """The revision, at most ``LOOK`` seconds old; a notebook that is away is looked for in the background."""
        if time.monotonic() - self._at < LOOK:
            return self._known
        if self._look is None or self._look.get_loop() is not asyncio.get_running_loop():
            self._look = asyncio.ensure_future(self._find())
        if self._known != AWAY:
            await asyncio.shield(self._look)
        return self._known

    async def _find(self) -> None:
        try:
            self._known = await asyncio.to_thread(self._trials.revision)
        finally:
            self._at = time.monotonic()
            self._look = None
