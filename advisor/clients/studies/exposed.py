"""``advisor exposed``: what of mine loses to an option of theirs, or which of my moves they punish."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import click
from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from advisor.clients.asking import distance_of, ids_of, place_options
from advisor.clients.running import run_options, run_study
from advisor.studies.exposed_answer import ExposedAnswer, ExposedMove, Lost

__all__ = ["command", "view"]

PLACES = {
    "/me/character": "ME", "/them": "--them", "/option": "--option", "/moves": "--moves", "/when": "--after",
    "/advantage": "--advantage", "/held": "--held", "/delays": "--delays", "/limit": "--limit",
}
SHOWN_MISSING = 6


@click.command("exposed")
@click.argument("me")
@click.option("--them", metavar="CHARACTER", help="One opponent; the whole roster when left out.")
@click.option("--option", metavar="MOVE", help="What of mine loses to this option of theirs; needs --them.")
@click.option("--moves", help="Only these options of mine: ids with commas.")
@click.option(
    "--after", type=click.Choice(["block", "whiff"]), default="block", show_default=True,
    help="Without --option: punishable after a block, or after a miss.",
)
@click.option("--advantage", type=click.IntRange(-200, 200), default=0, help="With --option: frames I act before it.")
@click.option(
    "--held", type=click.Choice(["recovery", "blockstun", "hitstun"]), default="recovery", show_default=True,
    help="With --advantage: what holds the later side.",
)
@click.option("--delays", type=click.IntRange(0, 120), help="With --option: frames they may start later, at most (60).")
@click.option("--limit", type=click.IntRange(1, 200), default=10, show_default=True, help="Options of mine to list.")
@place_options
@run_options
def command(me: str, **given: Any) -> None:
    """What of ME loses?

    \b
    advisor exposed wenna --them marl --option cinder_knee --at touching
    advisor exposed wenna --at touching
    advisor exposed wenna --them marl --after whiff
    """

    def body() -> dict[str, Any]:
        return {
            "me": {"character": me}, "them": None if given["them"] is None else {"character": given["them"]},
            "option": given["option"], "moves": ids_of(given["moves"]), "when": f"after_{given['after']}",
            "advantage": given["advantage"], "held": given["held"], "distance": distance_of(given["distance"]),
            "pack": given["pack"], "delays": given["delays"], "limit": given["limit"],
        }

    run_study("exposed", body, given, view, places=PLACES)


def view(answer: ExposedAnswer, width: int) -> RenderableType:
    """Options that lose, or moves with who punishes them, a line each; ``width`` is not used."""
    del width
    counts = ", ".join(f"{word.replace('_', ' ')} {n}" for word, n in answer.counts.items())
    parts: list[RenderableType] = [
        Text(answer.summary, style="bold"), Text(f"At {answer.distance:g} {answer.unit}: {counts}", style="dim")
    ]
    for row in answer.lost:
        parts += _lost(row)
    for move in answer.moves:
        parts += _move(move)
    if answer.missing:
        lab = ", ".join(f"{m.move}: {m.property}" if m.move else m.property for m in answer.missing[:SHOWN_MISSING])
        parts.append(Text(f"\nNot recorded, and results hang on it: {lab}"))
    parts += [Text(f"Note: {caution}", style="dim") for caution in answer.cautions]
    return Group(*parts)


def _lost(row: Lost) -> Iterator[RenderableType]:
    taken = "" if row.taken is None else f", {row.taken:g} damage taken"
    first = "" if row.at_once == row.verdict else f", at once {row.at_once.replace('_', ' ')}"
    yield _in(2, f"{row.name}: {row.verdict}{taken}{first}")
    yield _in(6, row.sentence, style="dim")


def _move(row: ExposedMove) -> Iterator[RenderableType]:
    lead = "?" if row.advantage is None else f"{row.advantage:+d}"
    unsure = f", {row.unknown} unknown" if row.unknown else ""
    yield _in(2, f"{row.name} ({lead}): punished by {row.punishers} of {row.of}{unsure}")
    for one in row.by:
        reach = "" if one.works_to is None else f", up to {one.works_to:g}"
        damage = "" if one.damage is None else f", {one.damage:g} damage"
        needs = f", needs {', '.join(one.needs)}" if one.needs else ""
        when = f"on frame {one.frame} of {one.held_until}"
        yield _in(6, f"{one.them}: {one.name} {when}{damage}{reach}{needs}", style="dim")
    if not row.by:
        yield _in(6, row.sentence, style="dim")


def _in(columns: int, line: str, style: str = "") -> Padding:
    return Padding(Text(line, style=style), (0, 0, 0, columns), expand=False)
