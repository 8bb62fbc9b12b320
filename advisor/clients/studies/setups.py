"""``advisor setups``: auto-timed pressure after a knockdown."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import click
from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from advisor.clients.asking import ids_of, moment_options, place_options, situation_of, state_options
from advisor.clients.running import progress_bar, run_options, run_study
from advisor.library import Library
from advisor.studies.setups import Setup, Setups, SetupsRequest, setups
from advisor.studies.setups_model import Met

__all__ = ["command", "view"]

PLACES = {
    "/actions": "--actions", "/last": "--last", "/length": "--length", "/at_least": "--at-least", "/each": "--each",
    "/bound": "--bound",
}
SHOWN_MISSING = 6


@click.command("setups")
@click.argument("me")
@click.argument("them")
@moment_options
@place_options
@state_options
@click.option("--replies", help="Their wake-up options to meet: ids with commas; all of the state when left out.")
@click.option("--actions", help="My options that may use up frames: ids with commas; all that can when left out.")
@click.option("--last", help="My options that may end the sequence: ids with commas; every attack when left out.")
@click.option("--length", type=click.IntRange(1, 5), default=3, show_default=True, help="Most actions in one.")
@click.option("--at-least", type=click.IntRange(1, 400), default=1, show_default=True, help="Wake-up options to cover.")
@click.option("--ground", is_flag=True, help="Count what hits them on the ground, before their option begins, too.")
@click.option("--each", type=click.IntRange(1, 400), default=3, show_default=True, help="Most with the same last move.")
@click.option("--limit", type=click.IntRange(1, 400), default=10, show_default=True, help="Sequences to list.")
@click.option("--bound", type=click.IntRange(1_000, 20_000_000), default=2_000_000, show_default=True, help="Work.")
@click.option("--why", is_flag=True, help="Show what becomes of each wake-up option.")
@run_options
def command(me: str, them: str, why: bool, **given: Any) -> None:
    """Sequences of ME that use up a knockdown's frames and meet the wake-up options of THEM without a delay by hand.

    \b
    advisor setups marl wenna --knockdown face_up --frames 30 --at close
    advisor setups marl wenna --they-were-hit barrow_tip --at touching --length 5 --why
    """

    def body() -> dict[str, Any]:
        return {
            **situation_of(me, them, given),
            **{name: ids_of(given[name]) for name in ("replies", "actions", "last")},
            **{name: given[name] for name in ("length", "at_least", "ground", "each", "limit", "bound")},
        }

    def ask(library: Library, request: SetupsRequest) -> Setups:
        shelf = library.shelf(request.pack)
        with progress_bar(given, "searching") as told:
            return setups(shelf.pack, shelf.rules, shelf.evaluator, request, told)

    run_study("setups", body, given, lambda answer, width: view(answer, width, why=why), places=PLACES, ask=ask)


def view(answer: Setups, _width: int, *, why: bool = False) -> RenderableType:
    """The sequences, best first, with ``why`` each wake-up option as well; lines fold at any width."""
    parts: list[RenderableType] = [Text(answer.sentence), Text(answer.summary, style="bold")]
    parts.append(Text(f"To be met: {', '.join(answer.replies)}", style="dim"))
    for place, setup in enumerate(answer.setups, 1):
        parts += _lines(place, setup, why)
    counts = ", ".join(f"{number} cover {count}" for count, number in answer.by_coverage.items())
    if counts:
        parts.append(Text(f"By frames and distance: {counts}.", style="dim"))
    if not answer.complete:
        parts.append(Text(f"Stopped after {answer.work} units of work (--bound): there may be others.", style="bold"))
    if answer.missing:
        lab = ", ".join(f"{m.move}: {m.property}" if m.move else m.property for m in answer.missing[:SHOWN_MISSING])
        parts.append(Text(f"Not recorded, and answers hang on it: {lab}"))
    parts += [Text(f"Note: {caution}", style="dim") for caution in answer.cautions]
    return Group(*parts)


def _lines(place: int, setup: Setup, why: bool) -> Iterator[RenderableType]:
    head = Text(f"{place:>2}. ")
    head.append(", ".join(setup.names), style="bold")
    first, last = setup.window
    figures = [f"covers {setup.covered} of {setup.of}", f"width {setup.width} ({first}-{last})", f"uses {setup.used}"]
    if setup.touches_from is not None:
        figures.append(f"touches from frame {setup.touches_from}")
    if setup.damage is not None:
        figures.append(f"{setup.damage:g} damage")
    if setup.needs:
        figures.append(f"needs {', '.join(setup.needs)}")
    yield head
    yield _in(4, Text(", ".join(figures)))
    if why:
        yield from (_in(4, _cell(met)) for met in setup.against)
        return
    open_ = [f"{met.name} ({_word(met)})" for met in setup.against if not met.covered]
    if open_:
        yield _in(4, Text(f"not covered: {', '.join(open_)}"))


def _cell(met: Met) -> Text:
    early = f", already in {met.before}" if met.before else ""
    return Text(f"{met.name}: {_word(met)}{early}. {met.sentence}")


def _word(met: Met) -> str:
    if met.covered:
        return "covered"
    if met.verdict in ("guaranteed", "beats"):
        return "too early or too late"
    return met.verdict.replace("_", " ")


def _in(columns: int, text: Text) -> Padding:
    return Padding(text, (0, 0, 0, columns), expand=False)
