"""``advisor sheet``: a guide to print, of a fighter, of a match-up, or of a study set."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from pathlib import Path
from typing import Any
from urllib.parse import quote

import click

from advisor.advice import TrialRules
from advisor.clients.running import data_options, guarded, library_of, progress_bar, settings_of, unwritable
from advisor.errors import AdvisorError, QuestionError
from advisor.notebook import Notebook, notebook_url
from advisor.notebook.where import read_url
from advisor.service.settings import Settings
from advisor.sheets import Sheet, as_html, as_markdown, fighter_sheet, set_sheet

__all__ = ["COMMANDS"]

_PLACES = {"/me": "ME", "/them": "--against", "/pack": "--pack", "/name": "--set"}
FORMS = {".html": "html", ".htm": "html", ".md": "markdown", ".markdown": "markdown"}
"""The form that a file's name says."""


@click.command("sheet")
@click.argument("me", required=False)
@click.option("--against", metavar="CHARACTER", help="The opponent; without one the sheet is about ME alone.")
@click.option("--set", "set_", metavar="NAME", help="A study set in place of ME: its entries, then its match-ups.")
@click.option(
    "--form", type=click.Choice(["html", "markdown"]), help="As the name of --out says, else html, when left out."
)
@click.option(
    "--out", type=click.Path(dir_okay=False, path_type=Path), metavar="FILE",
    help="Write to this file; to standard output when left out, Markdown then without pictures.",
)
@click.option("--no-pictures", is_flag=True, help="Leave the pictures out.")
@click.option("--quick", is_flag=True, help="Leave out coverage and the guess.")
@click.option("--date", help="Date of the sheet, as it is to be shown; today when left out.")
@click.option("--pack", help="Pack id.")
@data_options
def sheet(me: str | None, **given: Any) -> None:
    """Write a study sheet of ME: frames, punishes, strings, parries, knockdowns, the mix, trials, what is unknown.

    \b
    advisor sheet wenna --against marl --out wenna-marl.html
    advisor sheet wenna --form markdown --out wenna.md
    advisor sheet --set punishes --out punishes.html
    """

    def run() -> None:
        _check(me, given)
        form = given["form"] or FORMS.get(given["out"].suffix.lower() if given["out"] else "", "html")
        made = _made(me, given, pictures=not given["no_pictures"] and (form == "html" or given["out"] is not None))
        _write(made, form, given["out"])

    guarded(run)


def _check(me: str | None, given: Mapping[str, Any]) -> None:
    """Refuse what does not go together. Errors: ``QuestionError``."""
    if (me is None) == (given["set_"] is None):
        said = "neither ME nor `--set` is given" if me is None else "ME and `--set` are both given"
        raise QuestionError("question-ambiguous", said, help="name a character, or a study set with --set")
    for name in ("against", "pack"):
        if given["set_"] is not None and given[name] is not None:
            raise QuestionError(
                "question-ambiguous", f"`--{name}` does not go with `--set`", help=f"leave --{name} out"
            )


def _made(me: str | None, given: Mapping[str, Any], *, pictures: bool) -> Sheet:
    """The sheet. Errors: as ``fighter_sheet`` and ``set_sheet``, naming the option."""
    settings = settings_of(given["packs"], given["rules"], given["engine"])
    library = library_of(given)
    terms: dict[str, Any] = {
        "date": datetime.date.today().isoformat() if given["date"] is None else given["date"],
        "quick": given["quick"], "pictures": pictures,
        "rules": TrialRules(least=settings.trials_least, confidence=settings.trials_confidence / 100),
    }  # fmt: skip
    notebook = _notebook(settings, needed=given["set_"] is not None)
    try:
        with progress_bar({"as_json": False}, "sections") as progress:
            if me is None:
                assert notebook is not None
                return set_sheet(library, notebook, given["set_"], progress=progress, **terms)
            return fighter_sheet(
                library, me, given["against"], pack=given["pack"], notebook=notebook, progress=progress, **terms
            )
    except AdvisorError as error:
        place = _PLACES.get(error.pointer)
        if place is not None:
            error.message = f"`{place}`: {error.message}"
        raise
    finally:
        if notebook is not None:
            notebook.close()


def _notebook(settings: Settings, *, needed: bool) -> Notebook | None:
    """The notebook; None where there is none and none is ``needed``: it is not made then."""
    address = settings.notebook or notebook_url()
    url = read_url(address)
    there = url.get_backend_name() != "sqlite" or Path(str(url.database)).is_file()
    return Notebook(address) if there or needed else None


def _write(made: Sheet, form: str, out: Path | None) -> None:
    """The file, and beside Markdown the folder of its pictures; or everything to standard output."""
    if out is None:
        click.echo(as_html(made) if form == "html" else as_markdown(made).text, nl=False)
        return
    folder = out.with_name(f"{out.stem}-pictures")
    text, pictures = as_html(made), {}
    if form == "markdown":
        written = as_markdown(made, quote(folder.name))
        text, pictures = written.text, written.pictures
    try:
        if pictures:
            folder.mkdir(exist_ok=True)
        for name, drawn in pictures.items():
            (folder / name).write_bytes(drawn)
        out.write_text(text, encoding="utf-8")
    except OSError as error:
        raise unwritable("--out", out, error) from None
    click.echo(f"{out}: {len(made.sections)} sections" + (f", {len(pictures)} pictures" if pictures else ""), err=True)


COMMANDS: dict[str, click.Command] = {"sheet": sheet}
