"""``advisor questions``: a file of questions in, a line each, and their answers out in the same order."""

from __future__ import annotations

import logging
import sys
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from queue import Queue
from typing import IO, Any, NamedTuple

import click
import msgspec
from msgspec import UNSET, Raw, Struct, UnsetType

from advisor.clients.running import data_options, guarded, library_of
from advisor.errors import AdvisorError, QuestionError, did_you_mean
from advisor.library import Library
from advisor.service.asking.reading import decode
from advisor.service.asking.spelling import words_of
from advisor.service.problems import problem_of
from advisor.service.weighing.work import answer
from advisor.service.wire import Problem
from advisor.studies import STUDIES

__all__ = ["COMMANDS", "Ask", "questions"]

LONGEST_LINE = 1_048_576
"""Bytes; a longer line is refused without being kept in memory."""
FORM = 'a line is {"advice": {...}} or {"study": "beats", "request": {...}}, with a "name" if you like'
IN_PLACE = frozenset({400, 404, 422})
"""Statuses of problems that are about a place in the request."""
_log = logging.getLogger("advisor.questions")

Ask = Callable[[str, bytes], bytes | Problem]
"""``(task, request) -> answer``, both as JSON; or what is wrong with the request."""


class _Line(Struct, kw_only=True, forbid_unknown_fields=True):
    """One line of the file."""

    name: str | None = None
    advice: Raw | UnsetType = UNSET
    study: str | UnsetType = UNSET
    request: Raw | UnsetType = UNSET


class _Said(Struct, kw_only=True, omit_defaults=True):
    """One line of the output."""

    line: int
    name: str | None = None
    answer: Raw | UnsetType = UNSET
    problem: Problem | UnsetType = UNSET


class _Asked(NamedTuple):
    """What a line asks: the task, its request as JSON, and where that stands in the line."""

    task: str
    request: bytes
    place: str


_DECODER = msgspec.json.Decoder(_Line)


@click.command("questions")
@click.argument("file", type=click.File("rb"))
@click.option("--url", help="Ask the service at this address instead of answering here.")
@click.option(
    "--key", envvar="SITUATION_ADVISOR_KEY", show_envvar=True, help="With --url: key of the service, as bearer token."
)
@click.option(
    "--in-flight", type=click.IntRange(1, 64), default=4, show_default=True, help="With --url: questions under way."
)
@click.option("--timeout", type=click.FloatRange(0.1, 3600), default=60.0, help="With --url: seconds to wait (60).")
@data_options
def questions(
    file: IO[bytes], url: str | None, key: str | None, in_flight: int, timeout: float, **given: Any
) -> None:
    """Answer the questions of FILE (`-`: standard input), JSON Lines in and out, in the same order.

    \b
    {"name": "knee", "advice": {"me": {"character": "wenna"}, "them": {"character": "marl"},
                                "moment": {"kind": "blocked", "attacker": "them", "move": "cinder_knee"}}}
    {"study": "exposed", "request": {"me": {"character": "marl"}}}

    (each on one line). What comes out is {"line": 1, "name": "knee", "answer": {...}}; a line that cannot be answered
    has "problem" in place of "answer", and the others go on. Ends with 0 when all were answered, 1 when some were
    problems, 2 when nothing could run.
    """
    problems: list[int] = []

    def said(one: _Said) -> None:
        if one.problem is not UNSET:
            problems.append(one.line)
        sys.stdout.buffer.write(msgspec.json.encode(one) + b"\n")
        sys.stdout.buffer.flush()

    def run() -> None:
        if url is None:
            ask = _here(library_of(given))
            for number, line in _lines(file):
                said(_answered(number, line, ask))
        else:
            if given["packs"] or given["rules"] or given["engine"]:
                raise click.UsageError("--packs, --rules and --engine are the service's own with --url")
            _ask_service(file, url, key, timeout, in_flight, said)

    guarded(run)
    sys.exit(1 if problems else 0)


def _lines(file: IO[bytes]) -> Iterator[tuple[int, bytes | None]]:
    """Number and text of every line that is not blank, as it comes; None for one that is too long."""
    number = 0
    while line := file.readline(LONGEST_LINE + 1):
        number += 1
        if len(line) > LONGEST_LINE and not line.endswith(b"\n"):
            while (rest := file.readline(LONGEST_LINE)) and not rest.endswith(b"\n"):
                pass
            yield number, None
        elif line.strip():
            yield number, line


def _answered(number: int, line: bytes | None, ask: Ask) -> _Said:
    """The answer to a line, or its problem."""
    name = None
    try:
        name, asked = _asked(line)
        found = ask(asked.task, asked.request)
    except AdvisorError as error:
        return _Said(line=number, name=name, problem=problem_of(error))
    if isinstance(found, Problem):
        if found.status in IN_PLACE:
            found.pointer = asked.place + found.pointer
        return _Said(line=number, name=name, problem=found)
    return _Said(line=number, name=name, answer=Raw(found))


def _asked(line: bytes | None) -> tuple[str | None, _Asked]:
    """Name and question of a line. Errors: ``AdvisorError`` pointing into the line."""
    if line is None:
        raise AdvisorError("body-too-large", f"the line is longer than {LONGEST_LINE} bytes", help=FORM)
    try:
        read: _Line = decode(line, _DECODER, words_of(_Line))
    except AdvisorError as error:
        said = error.message.replace("the body", "the line", 1)
        raise AdvisorError(error.code, said, help=error.help, pointer=error.pointer) from None
    if read.advice is not UNSET:
        if read.study is not UNSET or read.request is not UNSET:
            raise QuestionError("question-ambiguous", "the line has `advice` and a study", help=FORM, pointer="/advice")
        return read.name, _Asked("advice", bytes(read.advice), "/advice")
    for name, value in (("study", read.study), ("request", read.request)):
        if value is UNSET:
            both = read.study is UNSET and read.request is UNSET
            missing = "advice" if both else name
            raise QuestionError("value-invalid", f"`{missing}` is missing", help=FORM, pointer=f"/{missing}")
    assert read.study is not UNSET and read.request is not UNSET
    if read.study not in STUDIES:
        help = did_you_mean(read.study, STUDIES) or f"one of {', '.join(STUDIES)}"
        raise QuestionError("value-invalid", f"there is no study `{read.study}`", help=help, pointer="/study")
    return read.name, _Asked(read.study, bytes(read.request), "/request")


def _here(library: Library) -> Ask:
    """Answers from the library in this process."""

    def ask(task: str, request: bytes) -> bytes | Problem:
        try:
            found = answer(library, task, request)
        except Exception as error:
            # One line that meets a fault of ours is no reason to lose the others.
            _log.error("`%s` could not be answered", task, exc_info=error)
            return problem_of(AdvisorError("fault", "something went wrong on our side"))
        return found.body if found.status == 200 else msgspec.json.decode(found.body, type=Problem)

    return ask


def _ask_service(
    file: IO[bytes], url: str, key: str | None, timeout: float, many: int, said: Callable[[_Said], None]
) -> None:
    """Ask the service at ``url``, ``many`` lines at a time.

    Errors: ``QuestionError`` for an address or key that is none, or where nothing answers as the service does.
    """
    from advisor.clients.api import Advisor, ApiError, ProblemError

    try:
        service = Advisor(url, key=key, timeout=timeout)
    except ValueError as error:
        help = "as in --url http://127.0.0.1:8345"
        raise QuestionError("value-invalid", str(error), help=help, pointer="--url") from None

    def ask(task: str, request: bytes) -> bytes | Problem:
        try:
            # One line each, whatever the layout in which it came.
            return msgspec.json.format(service.submit(task, request), indent=-1)
        except ProblemError as error:
            return error.problem
        except (ApiError, msgspec.DecodeError) as error:
            return Problem(
                type="/problems/unreachable", title="the service does not answer", status=503, code="unreachable",
                detail=str(error),
            )  # fmt: skip

    with service:
        try:
            service.live()
        except ApiError as error:
            help = "start one with `advisor serve`, or name another with --url"
            raise QuestionError("value-invalid", str(error), help=help, pointer="--url") from None
        _in_order(file, ask, many, said)


def _in_order(file: IO[bytes], ask: Ask, many: int, said: Callable[[_Said], None]) -> None:
    """Answer ``many`` lines at a time; each answer is said as soon as it and all before it are there.

    That holds while the next line is being waited for, too: whoever sends the questions may wait for the answers.
    Errors: what ``said`` raises.
    """
    waiting: Queue[Future[_Said] | None] = Queue(many)
    failed: list[BaseException] = []

    def say() -> None:
        while (one := waiting.get()) is not None:
            try:
                if not failed:
                    said(one.result())
            except BaseException as error:
                failed.append(error)

    speaker = threading.Thread(target=say, name="answers")
    speaker.start()
    try:
        with ThreadPoolExecutor(many) as pool:
            for number, line in _lines(file):
                if failed:
                    break
                waiting.put(pool.submit(_answered, number, line, ask))
    finally:
        waiting.put(None)
        speaker.join()
    if failed:
        raise failed[0]


COMMANDS = {"questions": questions}
"""Name of each command to the command, for the group ``advisor``."""
