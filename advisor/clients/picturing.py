"""Pictures of an answer in a file: the options of a command, and the run of a study that has it.

A command offers the pictures that ``advisor.pictures.offers`` has for its study: it takes ``picture_options``
and runs by ``run_pictured``. The file is the body that the service would send for the same media type; only a
command can ask for another theme than the light one.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, TypeVar

import click
from rich.console import RenderableType

from advisor.clients.running import run_study, unwritable
from advisor.library import Library
from advisor.pictures.look import THEMES
from advisor.pictures.offers import PNG, SVG, offers

__all__ = ["FORMS", "picture_options", "run_pictured", "write_picture", "write_pictures"]

F = TypeVar("F", bound=Callable[..., Any])
FORMS = {"svg": SVG, "png": PNG}
"""Media types by the option that names the file."""


def picture_options(command: F) -> F:
    """The options ``--svg FILE``, ``--png FILE`` and ``--theme``; ``write_pictures`` reads them."""
    kind = click.Path(dir_okay=False, path_type=Path)
    command = click.option(
        "--theme", type=click.Choice(list(THEMES)), default="light", show_default=True, help="Colours of a picture."
    )(command)
    for form in reversed(FORMS):
        help = f"Write a picture ({form.upper()}) to this file too."
        command = click.option(f"--{form}", form, type=kind, metavar="FILE", help=help)(command)
    return command


def write_pictures(study: str, given: Mapping[str, Any], answer: Any, request: Any) -> None:
    """Each picture whose file the values of ``picture_options`` name. Errors: as ``write_picture``."""
    for form in FORMS:
        if given[form] is not None:
            write_picture(study, form, given[form], answer, request, theme=given["theme"])


def write_picture(study: str, form: str, path: Path, answer: Any, request: Any, *, theme: str = "light") -> None:
    """Draw the answer and write it; ``form`` is a key of ``FORMS``.

    Errors: ``QuestionError`` when it is too large to draw or the file cannot be written.
    """
    drawn = offers(study)[FORMS[form]](answer, request, theme=theme)
    try:
        path.write_bytes(drawn)
    except OSError as error:
        raise unwritable(f"--{form}", path, error) from None


def run_pictured(
    study: str,
    body: Callable[[], Mapping[str, Any]],
    given: Mapping[str, Any],
    view: Callable[[Any, int], RenderableType],
    *,
    places: Mapping[str, str] | None = None,
    ask: Callable[[Library, Any], Any] | None = None,
) -> None:
    """As ``running.run_study``, and each picture whose file ``given`` names is written before the answer is printed."""

    run_study(
        study, body, given, view, places=places, ask=ask,
        also=lambda answer, request: write_pictures(study, given, answer, request),
    )  # fmt: skip
