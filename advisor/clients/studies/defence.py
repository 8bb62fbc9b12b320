"""``advisor defence``: a guard and then something else, or an attack that leaves time to guard."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import click
from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from advisor.clients.asking import (
    choice_options,
    ids_of,
    moment_options,
    place_options,
    replies_of,
    situation_of,
    state_options,
)
from advisor.clients.running import run_options, run_study
from advisor.studies.defence_answer import DefenceAnswer, DefenceRow, DefenceWindow

__all__ = ["command", "view"]

PLACES = {"/guards": "--guards", "/frames": "--latest", "/mode": "--mode"}
_BEATERS = 6
_NAMED = 12


@click.command("defence")
@click.argument("me")
@click.argument("them")
@click.option(
    "--mode", type=click.Choice(["defend", "safe_pressure"]), default="defend", show_default=True,
    help="Guard and then something else, or an attack and the guard after it.",
)
@click.option("--guards", help="Guards to hold first: ids with commas; every guard when left out.")
@click.option("--latest", type=int, help="Latest switch frame, or longest delay (60).")
@click.option("--limit", type=click.IntRange(1, 400), default=8, show_default=True, help="Composite options to list.")
@click.option("--cells", is_flag=True, help="Show each row against each of their options.")
@moment_options
@choice_options
@state_options
@place_options
@run_options
def command(me: str, them: str, cells: bool, **given: Any) -> None:
    """Layered defence of ME against THEM, or pressure by ME that leaves time to guard.

    \b
    advisor defence wenna ilko --neutral --at touching --guards stand_guard --replies queen_tap,wax_shin
    advisor defence wenna marl --knockdown face_up --frames 20 --at close --mode safe_pressure
    """

    def body() -> dict[str, Any]:
        return {
            **situation_of(me, them, given), "mode": given["mode"], "guards": ids_of(given["guards"]),
            "replies": replies_of(given["replies"]), "responses": ids_of(given["responses"]),
            "frames": given["latest"], "limit": given["limit"],
        }

    run_study("defence", body, given, lambda answer, width: view(answer, width, cells=cells), places=PLACES)


def view(answer: DefenceAnswer, width: int, *, cells: bool = False) -> RenderableType:
    """The rows, best first, with what beats each, and ``cells`` one by one; ``width`` is not used."""
    del width
    parts: list[RenderableType] = [
        Text(answer.summary, style="bold"), Text(f"Set against: {', '.join(answer.replies)}", style="dim")
    ]
    for place, row in enumerate(answer.rows, 1):
        parts += _row(place, row, answer.mode == "defend", cells)
    left = answer.considered - len(answer.rows)
    if left > 0:
        parts.append(Text(f"\n{left} more were tried; --limit shows more.", style="dim"))
    for alone in answer.alone:
        missed = f", not {', '.join(alone.not_covered)}" if alone.not_covered else ""
        parts.append(Text(f"{alone.name} all the time: covers {alone.covers} of {alone.of}{missed}"))
    if answer.missing:
        lab = ", ".join(f"{m.move}: {m.property}" if m.move else m.property for m in answer.missing[:_NAMED])
        parts.append(Text(f"Not recorded, and answers hang on it: {lab}"))
    parts += [Text(f"Note: {caution}", style="dim") for caution in answer.cautions]
    return Group(*parts)


def _row(place: int, row: DefenceRow, defend: bool, cells: bool) -> Iterator[RenderableType]:
    yield Text(f"{place:>2}. ").append(row.sentence)
    if len(row.windows) > 1:
        word = "switch frames" if defend else "delays"
        yield _in(4, Text(f"{word} as good: {', '.join(_shown(w) for w in row.windows)}"))
    if row.beaten_by:
        named = [
            f"{b.option} (delayed {', '.join(run.shown() for run in b.delays)})" if any(r.last for r in b.delays)
            else b.option
            for b in row.beaten_by[:_BEATERS]
        ]
        more = len(row.beaten_by) - _BEATERS
        yield _in(4, Text(f"beaten by {', '.join(named)}{f' and {more} more' if more > 0 else ''}"))
    for cell in row.cells if cells else ():
        yield _in(4, Text(f"{cell.reply}: {cell.verdict.replace('_', ' ')}. {cell.sentence}"))


def _shown(window: DefenceWindow) -> str:
    return str(window.first) if window.width == 1 else f"{window.first}-{window.last}"


def _in(columns: int, text: Text) -> Padding:
    return Padding(text, (0, 0, 0, columns), expand=False)
