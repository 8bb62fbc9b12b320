"""What a job process does: it loads the library once and runs the jobs that come through its pipe, one by one.

What comes in: ``(study, request, about)`` for a job, the last naming the request it came with; ``None`` to cancel the
one under way. What goes out: ``Ready`` once, ``Told`` now and then, and at the end of every job ``Answers`` or
``Stopped``.
"""

from __future__ import annotations

import logging
import signal
import threading
import time
from collections.abc import Callable
from multiprocessing.connection import Connection
from typing import Any, NamedTuple

import msgspec

from advisor.errors import STATUS, AdvisorError
from advisor.library import Library
from advisor.sentences import speaking
from advisor.sentences.catalogue import ENGLISH
from advisor.service.problems import PROBLEM, encode_problem, problem_of
from advisor.service.seen.about import ABOUT, About
from advisor.service.seen.logs import write_logs
from advisor.service.settings import Settings
from advisor.service.weighing.tasks import TASKS
from advisor.service.weighing.work import JSON, Answer, end_with_the_server, load_settings
from advisor.studies import STUDIES

__all__ = ["Answers", "Ready", "Stopped", "Told", "Work", "problem_answer", "run_jobs", "run_study"]

PAUSE = 0.05
"""Least seconds between two reports, and between two looks for a word from the server."""
_log = logging.getLogger("advisor.service")


class Ready(NamedTuple):
    """The library is loaded."""

    ready: bool = True


class Told(NamedTuple):
    """How far the job is, in the study's own steps."""

    done: int
    total: int


class Answers(NamedTuple):
    """The responses of a finished job by media type; one that failed has its problem under JSON alone."""

    forms: dict[str, Answer]


class Stopped(NamedTuple):
    """The job ended because it was told to."""

    stopped: bool = True


Work = Callable[[Library, str, Any, Callable[[int, int], None], Callable[[], bool]], dict[str, Answer]]
"""``(library, study, request, progress, cancelled)`` -> responses by media type; a function of a module."""


def run_jobs(pipe: Connection, settings: Settings, work: Work) -> None:
    """The life of a job process: until the pipe is closed or the server is gone."""
    # Ctrl-C reaches the whole group; the server decides when its processes end.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=end_with_the_server, daemon=True).start()
    write_logs(settings)
    library = load_settings(settings)
    pipe.send(Ready())
    while True:
        try:
            job = pipe.recv()
            # A word to cancel may come when the job is already over.
            if job is not None:
                pipe.send(_over(pipe, library, work, *job))
        except (EOFError, OSError):
            return


def _over(
    pipe: Connection, library: Library, work: Work, study: str, request: Any, about: About | None
) -> Answers | Stopped:
    ABOUT.set(about)
    line = _Line(pipe)
    try:
        with speaking(about.language if about else ENGLISH):
            return Answers(work(library, study, request, line.told, line.cancelled))
    except Exception as error:
        if line.lost:
            raise
        # A run that is told to stop ends by an exception; which one is for the study to say.
        if line.stop:
            return Stopped()
        _log.error("a job (`%s`) could not be answered", study, exc_info=error)
        return Answers({JSON: problem_answer(AdvisorError("fault", "something went wrong on our side"))})


class _Line:
    """The two callbacks of a run, over the pipe; quiet in between, since a run may call them very often."""

    def __init__(self, pipe: Connection) -> None:
        self._pipe = pipe
        self._told_at = self._looked_at = 0.0
        self.stop = self.lost = False

    def told(self, done: int, total: int) -> None:
        """Report, unless the last report was a moment ago and this is not the end."""
        now = time.monotonic()
        if now - self._told_at >= PAUSE or done >= total:
            self._told_at = now
            try:
                self._pipe.send(Told(done, total))
            except OSError:
                self.lost = True
                raise

    def cancelled(self) -> bool:
        """Whether the server said to stop."""
        now = time.monotonic()
        if not self.stop and now - self._looked_at >= PAUSE:
            self._looked_at = now
            try:
                while self._pipe.poll():
                    self.stop = self._pipe.recv() is None
            except (EOFError, OSError):
                self.lost = True
                raise
        return self.stop


def run_study(
    library: Library, study: str, request: Any, progress: Callable[[int, int], None], cancelled: Callable[[], bool]
) -> dict[str, Answer]:
    """The answer of a long study in every form that its route offers; a refusal as its problem.

    Pointers of a refusal begin with ``/request``, where the job's body has it.
    Errors: ``advisor.solver.round.Cancelled``.
    """
    long = STUDIES[study].long
    assert long is not None, "only long studies are taken in"
    try:
        shelf = library.shelf(getattr(request, "pack", None))
        found = long(shelf.pack, shelf.rules, shelf.evaluator, request, progress, cancelled)
        forms = {JSON: Answer(200, JSON, msgspec.json.encode(found))}
        for media_type, draw in TASKS[study].pictures.items():
            forms[media_type] = Answer(200, media_type, draw(found, request))
        return forms
    except AdvisorError as error:
        return {JSON: problem_answer(error, "/request")}


def problem_answer(error: AdvisorError, within: str = "") -> Answer:
    """The response for an error; ``within`` is where what it points into stands in the body."""
    problem = problem_of(error)
    if error.code in REQUEST_CODES:
        problem.pointer = within + problem.pointer
    return Answer(STATUS[error.code], PROBLEM, encode_problem(problem))


REQUEST_CODES = frozenset(code for code, status in STATUS.items() if status in (400, 404, 422))
"""Codes of faults in the request, which have a place in it."""
