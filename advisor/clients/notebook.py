"""``advisor trial``, ``trials``, ``sets`` and ``notebook``: the lab notebook on the command line."""

from __future__ import annotations

import re
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import click
import msgspec
from rich.console import Console

from advisor.advice.evidence import Evidence, evidence, spread_of
from advisor.clients.asking import moment_options, place_options, request_of, situation_of
from advisor.clients.notebook_sets import sets_group
from advisor.clients.running import guarded, json_option, library_of, print_json, run_options
from advisor.errors import QuestionError, Unanswerable
from advisor.facts import Question
from advisor.library import Shelf
from advisor.notebook import Notebook, Situation, Trial, notebook_url
from advisor.notebook.connection import connect
from advisor.notebook.recording import check_option, situation_in
from advisor.notebook.schema import current, downgrade, upgrade
from advisor.notebook.trial import situation_key
from advisor.notebook.where import read_url

__all__ = ["COMMANDS"]


def _state_options(command: Any) -> Any:
    """What of either side makes the situation."""
    for option in (
        click.option("--my-wall/--no-my-wall", default=None, help="I am (not) near a wall; unknown when left out."),
        click.option("--near-wall/--no-wall", default=None, help="They are (not) near a wall; unknown when left out."),
        click.option("--their-back-turned", is_flag=True, help="Their back is turned."),
        click.option("--my-back-turned", is_flag=True, help="My back is turned."),
        click.option("--their-stance", help="Stance they are in; none when left out."),
        click.option("--my-stance", help="Stance I am in; none when left out."),
    ):
        command = option(command)
    return command


_UNSAID = dict.fromkeys(("my_health", "their_health", "my_meter", "their_meter", "floor_breaks"))
_PLACES = {"/response": "--option", "/reply": "--reply", "/successes": "--result", "/tries": "--result",
           "/corrects": "--corrects", "/key": "--key", "/player": "--player", "/note": "--note"}  # fmt: skip


@click.command("trial")
@click.argument("me")
@click.argument("them")
@moment_options
@place_options
@_state_options
@click.option("--option", "response", required=True, help="The option of mine that was tried.")
@click.option("--reply", help="Their option that it was tried against; none when left out.")
@click.option("--result", required=True, metavar="K/N", help="Successes and tries, as 7/12.")
@click.option("--delay", type=int, help="Frames by which the option was delayed.")
@click.option("--window", type=float, help="Frames on which it may be started and still win, for the timing spread.")
@click.option("--player", help="Who tried.")
@click.option("--note", default="", help="A note.")
@click.option("--key", help="Idempotency key: the same again gives the first record.")
@click.option("--corrects", metavar="ID", help="The record that this one replaces.")
@run_options
def trial(me: str, them: str, **given: Any) -> None:
    """Write down a lab trial of ME against THEM: 7 of 12 came off.

    \b
    advisor trial wenna marl --i-blocked cinder_knee --at touching --option quick_jab --result 7/12
    """

    def run() -> None:
        shelf, situation = _situation(me, them, given)
        for wanted, owner, place in ((given["response"], me, "--option"), (given["reply"], them, "--reply")):
            if wanted is not None:
                check_option(shelf.pack, owner, wanted, place)
        successes, tries = _result(given["result"])
        kept = {name: given[name] for name in ("reply", "delay", "window", "player", "note", "key", "corrects")}
        record = Trial(
            situation=situation, response=given["response"], successes=successes, tries=tries,
            data_version=shelf.pack.version, pack_hash=shelf.pack.hash, **kept,
        )  # fmt: skip
        with Notebook(notebook_url()) as notebook:
            added = _add(notebook, record)
        if given["as_json"]:
            print_json(added)
        else:
            click.echo(f"{added.id}: {added.response} {added.successes} of {added.tries}")

    guarded(run, as_json=given["as_json"])


@click.command("trials")
@click.argument("me", required=False)
@click.argument("them", required=False)
@moment_options
@place_options
@_state_options
@click.option("--option", "response", help="Only trials of this option of mine.")
@click.option("--reply", help="Only trials against this option of theirs.")
@click.option("--player", help="Only trials of this player; with a situation, their timing spread counts.")
@click.option("--corrected", is_flag=True, help="Also the records that were corrected.")
@click.option("--after", metavar="CURSOR", help="Go on after this cursor.")
@click.option("--limit", type=click.IntRange(1, 1000), default=50, show_default=True, help="Trials to list.")
@run_options
def trials(me: str | None, them: str | None, **given: Any) -> None:
    """List trials; with ME, THEM and a moment those of that situation, and what they say beside theory."""

    def run() -> None:
        asked = None if me is None or them is None else _situation(me, them, given)
        wanted = {name: given[name] for name in ("response", "reply", "player", "corrected", "after", "limit")}
        with Notebook(notebook_url()) as notebook:
            page = notebook.trials(situation=asked[1] if asked else None, **wanted)
            rows = _beside_theory(notebook, *asked, me, them, given) if asked else []
        if given["as_json"]:
            print_json({"trials": page.trials, "next": page.next, "evidence": rows})
            return
        for one in page.trials:
            against = f" against {one.reply}" if one.reply else ""
            click.echo(f"{one.time[:16]} {one.id} {one.response}{against}: {one.successes} of {one.tries} {one.note}")
        if page.next:
            click.echo(f"more: --after {page.next}")
        for row in rows:
            click.echo(f"{row['response']}{' against ' + row['reply'] if row['reply'] else ''}: {row['said'].sentence}")

    guarded(run, as_json=given["as_json"])


def _situation(me: str, them: str, given: Mapping[str, Any]) -> tuple[Shelf, Situation]:
    question = request_of(situation_of(me, them, {**given, **_UNSAID}), Question, given)
    shelf = library_of(given).shelf(question.pack)
    return shelf, situation_in(question, shelf.pack)


def _result(text: str) -> tuple[int, int]:
    found = re.fullmatch(r"([0-9]{1,6})/([0-9]{1,6})", text)
    if found is None:
        raise QuestionError("value-invalid", f"`--result` is `{text}`", help="successes/tries, as 7/12")
    return int(found[1]), int(found[2])


def _add(notebook: Notebook, record: Trial) -> Trial:
    """As ``Notebook.add``, an error naming the option."""
    try:
        return notebook.add(record)
    except QuestionError as error:
        place = _PLACES.get(error.pointer, error.pointer)
        raise QuestionError(error.code, f"`{place}`: {error.message}", help=error.help, pointer=error.pointer) from None


def _beside_theory(
    notebook: Notebook, shelf: Shelf, situation: Situation, me: str | None, them: str | None, given: Mapping[str, Any]
) -> list[dict[str, Any]]:
    """Every response and reply that was tried, with theory's verdict on it and the evidence."""
    counted = notebook.counted(situation_key(situation))
    if not counted:
        return []
    spread = spread_of(notebook.timed(given["player"])) if given["player"] else None
    question = request_of(situation_of(str(me), str(them), {**given, **_UNSAID}), Question, given)
    out = []
    for (response, reply), (k, n) in sorted(counted.items(), key=lambda row: (row[0][0], row[0][1] or "")):
        verdict, window = _theory(shelf, question, response, reply)
        said: Evidence = evidence(verdict, k, n, window=window, spread=spread.spread if spread else None)
        out.append({"response": response, "reply": reply, "said": said})
    return out


def _theory(shelf: Shelf, question: Question, response: str, reply: str | None) -> tuple[str, float | None]:
    """Theory's verdict and window; `unknown` for an option that is out of the question here."""
    asked = msgspec.structs.replace(question, responses=[response], replies=[reply] if reply else None, explain="brief")
    try:
        found = shelf.ask(asked).responses
    except (QuestionError, Unanswerable):
        return "unknown", None
    if not found:
        return "unknown", None
    window = None if found[0].window is None else float(found[0].window)
    verdicts = [row.verdict for row in found[0].against if row.reply == reply]
    return (verdicts[0] if verdicts else found[0].verdict), window


@click.group("notebook")
def notebook_group() -> None:
    """Where the notebook is, and the version of its tables."""


@notebook_group.command("where")
@json_option
def where(as_json: bool) -> None:
    """Print the notebook's address (ADVISOR_NOTEBOOK, or a file of the data folder) and version; makes nothing."""

    def run() -> None:
        url = read_url(notebook_url())
        # As one would write it: which driver is used is nobody's business.
        shown = url.set(drivername=url.get_backend_name()).render_as_string(hide_password=True)
        there = url.get_backend_name() != "sqlite" or Path(str(url.database)).is_file()
        version = _version() if there else None
        if as_json:
            print_json({"url": shown, "version": version})
        else:
            click.echo(f"{shown}, version {version or 'none yet'}")

    guarded(run, as_json=as_json)


def _version() -> str | None:
    engine = connect(notebook_url())
    try:
        return current(engine)
    finally:
        engine.dispose()


@notebook_group.command("upgrade")
@click.argument("version", default="head")
def upgrade_(version: str) -> None:
    """Bring the tables up to VERSION (the newest)."""
    guarded(lambda: _migrate(upgrade, version))


@notebook_group.command("downgrade")
@click.argument("version")
@click.option("--yes", is_flag=True, help="Do not ask: what later versions keep is lost.")
def downgrade_(version: str, yes: bool) -> None:
    """Take the tables back to VERSION; `base` drops them all."""
    if not yes and not click.confirm("what later versions keep is lost; go on?"):
        sys.exit(2)
    guarded(lambda: _migrate(downgrade, version))


def _migrate(step: Any, version: str) -> None:
    engine = connect(notebook_url())
    try:
        step(engine, version)
        Console(soft_wrap=True, highlight=False).print(f"version {current(engine) or 'base'}")
    finally:
        engine.dispose()


COMMANDS: dict[str, click.Command] = {
    "trial": trial, "trials": trials, "sets": sets_group, "notebook": notebook_group,
}  # fmt: skip
