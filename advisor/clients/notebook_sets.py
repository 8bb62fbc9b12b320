"""``advisor sets``: study sets on the command line."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import click
import msgspec

from advisor.clients.asking import question_of, question_options
from advisor.clients.notebook_lab import lab
from advisor.clients.running import guarded, json_option, library_of, print_json, run_options
from advisor.errors import QuestionError
from advisor.notebook import Entry, Notebook, Sets, notebook_url
from advisor.notebook.lines import export_set, import_set
from advisor.notebook.rerun import Rerun, answer_of, rerun
from advisor.notebook.told import MOST, told

__all__ = ["sets_group"]

FILE = click.Path(exists=True, dir_okay=False, path_type=Path)


@click.group("sets")
def sets_group() -> None:
    """Sets of saved situations: keep them, and see what new data change about them."""


sets_group.add_command(lab)


@sets_group.command("new")
@click.argument("name")
@click.option("--note", default="", help="A note.")
def new(name: str, note: str) -> None:
    """Make the empty set NAME."""

    def run() -> None:
        with Notebook(notebook_url()) as notebook:
            Sets(notebook).add(name, note)

    guarded(run)


@sets_group.command("add")
@click.argument("name")
@click.argument("entry")
@click.argument("me", required=False)
@click.argument("them", required=False)
@question_options
@click.option("--study", help="A study's name; with --request.")
@click.option("--request", type=FILE, help="File with the request (or question) as JSON, in place of ME and THEM.")
@click.option("--note", default="", help="A note.")
@run_options
def add(name: str, entry: str, me: str | None, them: str | None, **given: Any) -> None:
    """Save a situation as ENTRY of the set NAME, with its answer now. The set is made when it is not there."""

    def run() -> None:
        request = _request(me, them, given)
        fresh = Entry(name=entry, request=request, study=given["study"], note=given["note"])
        fresh = msgspec.structs.replace(fresh, kept=answer_of(fresh, library_of(given)))
        with Notebook(notebook_url()) as notebook:
            sets = Sets(notebook)
            if not any(info.name == name for info in sets.list()):
                sets.add(name)
            sets.add_entry(name, fresh)
        if given["as_json"]:
            print_json(fresh)
        else:
            click.echo(f"{name}: {entry}")

    guarded(run, as_json=given["as_json"])


def _request(me: str | None, them: str | None, given: dict[str, Any]) -> dict[str, Any]:
    if given["request"] is not None:
        try:
            return msgspec.json.decode(given["request"].read_bytes(), type=dict[str, Any])
        except (msgspec.MsgspecError, UnicodeDecodeError) as error:
            raise QuestionError("body-malformed", f"`{given['request']}`: {error}", help="an object of JSON") from None
    if given["study"] is not None or me is None or them is None:
        raise QuestionError(
            "value-invalid", "no situation is given", help="name ME, THEM and a moment, or --request FILE"
        )
    question = msgspec.to_builtins(question_of(me, them, False, given))
    bare: dict[str, Any] = {key: value for key, value in question.items() if value is not None}
    return bare


@sets_group.command("list")
@json_option
def list_(as_json: bool) -> None:
    """List the sets."""

    def run() -> None:
        with Notebook(notebook_url()) as notebook:
            found = Sets(notebook).list()
        if as_json:
            print_json(found)
            return
        for info in found:
            click.echo(f"{info.name}: {info.entries} entries {info.note}".rstrip())
        if not found:
            click.echo("no sets; `advisor sets add NAME ENTRY ...` makes one")

    guarded(run, as_json=as_json)


@sets_group.command("show")
@click.argument("name")
@json_option
def show(name: str, as_json: bool) -> None:
    """Show the entries of the set NAME; with --json their answers too."""

    def run() -> None:
        with Notebook(notebook_url()) as notebook:
            info, found = Sets(notebook).get(name)
        if as_json:
            print_json({"set": info, "entries": found})
            return
        for entry in found:
            data = f"answer of {entry.kept.data_version}" if entry.kept else "no answer yet"
            click.echo(f"{entry.name} ({entry.study or 'question'}, {data}) {entry.note}".rstrip())

    guarded(run, as_json=as_json)


@sets_group.command("remove")
@click.argument("name")
@click.argument("entry", required=False)
def remove(name: str, entry: str | None) -> None:
    """Strike out the set NAME, or its ENTRY."""

    def run() -> None:
        with Notebook(notebook_url()) as notebook:
            Sets(notebook).remove(name, entry)

    guarded(run)


@sets_group.command("export")
@click.argument("name")
def export(name: str) -> None:
    """Print the set NAME as JSON Lines."""

    def run() -> None:
        with Notebook(notebook_url()) as notebook:
            click.echo(export_set(Sets(notebook), name), nl=False)

    guarded(run)


@sets_group.command("import")
@click.argument("file", type=FILE)
@click.option("--name", help="Name of the set; the file's when left out.")
def import_(file: Path, name: str | None) -> None:
    """Make a set from the JSON Lines in FILE: all of it or nothing."""

    def run() -> None:
        with Notebook(notebook_url()) as notebook:
            info = import_set(Sets(notebook), file.read_bytes(), file=str(file), name=name)
        click.echo(f"{info.name}: {info.entries} entries")

    guarded(run)


@sets_group.command("rerun")
@click.argument("name")
@click.option("--accept", is_flag=True, help="Store the new answers.")
@click.option("--wording", is_flag=True, help="Compare the sentences too.")
@click.option("--all", "every", is_flag=True, help="Show every change, not the weightiest only.")
@run_options
def rerun_(name: str, **given: Any) -> None:
    """Ask the set NAME again. Ends with 0 when every answer is the same, 1 when not, 2 for an error."""
    found: list[Rerun] = []

    def run() -> None:
        with Notebook(notebook_url()) as notebook:
            again = rerun(
                Sets(notebook), name, library_of(given), accept=given["accept"], wording=given["wording"]
            )
        found.append(again)

    guarded(run, as_json=given["as_json"])
    if given["as_json"]:
        print_json(found[0])
    for entry in () if given["as_json"] else found[0].entries:
        moved = f" ({entry.before} -> {entry.after})" if entry.before != entry.after and entry.after else ""
        click.echo(f"{entry.name}: {entry.outcome}{moved}")
        for line in told(entry.changes, None if given["every"] else MOST):
            click.echo(f"    {line}")
    sys.exit(0 if found[0].same else 1)
