"""How a command runs: where its data come from, how it prints, and what becomes of an error."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TypeVar

import click
import msgspec
from rich.console import Console, RenderableType
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

from advisor.clients import table
from advisor.clients.asking import request_of
from advisor.errors import AdvisorError, QuestionError
from advisor.library import Library
from advisor.service.problems import problem_of
from advisor.service.settings import Settings, read_settings
from advisor.service.weighing.work import load_settings
from advisor.studies import STUDIES

__all__ = [
    "FOLDER", "data_options", "engine_option", "guarded", "json_option", "library_of", "print_json", "progress_bar",
    "rules_option", "run_options", "run_study", "settings_of", "unwritable",
]  # fmt: skip

F = TypeVar("F", bound=Callable[..., Any])

FOLDER = click.Path(exists=True, file_okay=False, path_type=Path)
rules_option = click.option("--rules", multiple=True, type=FOLDER, help="Folder of rules of your own; may be repeated.")
engine_option = click.option("--engine", type=click.Choice(["auto", "durable", "plain"]), help="What runs the rules.")
json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON; errors as problem details.")
_PACKS = click.option("--packs", multiple=True, type=FOLDER, help="Folder of a pack of your own; may be repeated.")


def data_options(command: F) -> F:
    """The options ``--packs``, ``--rules`` and ``--engine``."""
    for option in (engine_option, rules_option, _PACKS):
        command = option(command)
    return command


def run_options(command: F) -> F:
    """The options of a command that answers: ``--json`` and those of its data."""
    return json_option(data_options(command))


def settings_of(packs: tuple[Path, ...], rules: tuple[Path, ...], engine: str | None, **more: Any) -> Settings:
    """The environment's settings with those of the options on top. Errors: ``QuestionError``."""
    settings = read_settings()
    return msgspec.structs.replace(
        settings,
        packs=(*settings.packs, *packs),
        rules=(*settings.rules, *rules),
        engine=engine or settings.engine,
        **{name: value for name, value in more.items() if value is not None},
    )


def library_of(given: Mapping[str, Any]) -> Library:
    """The library that the values of ``data_options`` name. Errors: ``QuestionError``, ``DataError``."""
    return load_settings(settings_of(given["packs"], given["rules"], given["engine"]))


def guarded(run: Callable[[], None], *, as_json: bool = False) -> None:
    """Run a command; an error of ours goes to standard error and ends with 2."""
    try:
        run()
    except AdvisorError as error:
        if as_json:
            click.echo(msgspec.json.encode(problem_of(error)).decode(), err=True)
        else:
            table.print_error(Console(stderr=True, soft_wrap=True), error)
        sys.exit(2)


def print_json(value: Any) -> None:
    """The value as JSON for people to read."""
    click.echo(msgspec.json.format(msgspec.json.encode(value), indent=2).decode())


def run_study(
    name: str,
    body: Callable[[], Mapping[str, Any]],
    given: Mapping[str, Any],
    view: Callable[[Any, int], RenderableType],
    *,
    places: Mapping[str, str] | None = None,
    ask: Callable[[Library, Any], Any] | None = None,
    also: Callable[[Any, Any], None] | None = None,
) -> None:
    """Ask a study and print its answer: with ``--json`` as the service gives it, else ``view(answer, columns)``.

    ``body`` gives the request as JSON has it (keys that are None are left out); ``given`` has the
    values of the command's options, those of ``run_options`` among them; ``places`` names the option
    that spells the value at a JSON pointer, for errors, on top of ``asking.PLACES``. ``ask(library, request)``
    stands for the library's own way to ask, ``also(answer, request)`` is done before the answer is printed.
    """

    def run() -> None:
        request = request_of(body(), STUDIES[name].request, given, places)
        library = library_of(given)
        answer = library.study(name, request) if ask is None else ask(library, request)
        if also is not None:
            also(answer, request)
        if given["as_json"]:
            print_json(answer)
        else:
            console = Console()
            console.print(view(answer, console.width))

    guarded(run, as_json=given["as_json"])


@contextmanager
def progress_bar(given: Mapping[str, Any], word: str) -> Iterator[Callable[[int, int], None] | None]:
    """A progress bar on standard error, told ``(done, whole)``; None where nobody looks at it, or for ``--json``."""
    console = Console(stderr=True)
    if given["as_json"] or not console.is_terminal:
        yield None
        return
    columns = (TextColumn(word), BarColumn(), TextColumn("{task.completed:.0f}"), TimeElapsedColumn())
    with Progress(*columns, console=console, transient=True) as progress:
        task = progress.add_task(word, total=None)
        yield lambda done, whole: progress.update(task, completed=done, total=whole)


def unwritable(option: str, path: Path, error: OSError) -> QuestionError:
    """The error for a file, named with ``option``, that cannot be written."""
    said = (error.strerror or "it failed").lower()
    help = "name a file in a folder of yours"
    return QuestionError("value-invalid", f"`{option}`: `{path}` cannot be written: {said}", help=help)
