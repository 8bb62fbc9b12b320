"""``advisor parries``: what my parries catch, of one opponent or of the whole roster."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import click
from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from advisor.clients.asking import distance_of, place_options
from advisor.clients.running import run_options, run_study
from advisor.studies.parries import CaughtMove, CaughtString, ParriesAnswer

__all__ = ["command", "view"]

PLACES = {"/me/character": "ME", "/them/character": "--them", "/parry": "--parry"}
SHOWN_MISSING = 6
CAUGHT = {True: "caught", False: "not", None: "unknown"}


@click.command("parries")
@click.argument("me")
@click.option("--them", metavar="CHARACTER", help="One opponent, in detail; the whole roster when left out.")
@click.option("--parry", metavar="MOVE", help="Only this parry of mine.")
@place_options
@run_options
def command(me: str, **given: Any) -> None:
    """What do the parries of ME catch, and which strings let them in?

    \b
    advisor parries wenna
    advisor parries wenna --them ilko --parry set_pane
    """

    def body() -> dict[str, Any]:
        return {
            "me": {"character": me}, "them": None if given["them"] is None else {"character": given["them"]},
            "parry": given["parry"], "distance": distance_of(given["distance"]), "pack": given["pack"],
        }

    run_study("parries", body, given, view, places=PLACES)


def view(answer: ParriesAnswer, width: int) -> RenderableType:
    """The shares, then against one opponent every attack and every string; ``width`` is not used."""
    del width
    parts: list[RenderableType] = [Text(answer.summary, style="bold"), _shares(answer)]
    for parry in dict.fromkeys(move.parry for move in answer.moves):
        parts.append(Text(f"\n{parry}: attacks", style="bold"))
        parts += [_in(2, _move(move)) for move in answer.moves if move.parry == parry]
        strings = [one for one in answer.strings if one.parry == parry]
        if strings:
            parts.append(Text(f"\n{parry}: strings", style="bold"))
            parts += [line for one in strings for line in _string(one)]
    if answer.missing:
        lab = ", ".join(f"{m.move}: {m.property}" for m in answer.missing[:SHOWN_MISSING])
        parts.append(Text(f"\nNot recorded, and results hang on it: {lab}"))
    parts += [Text(f"Note: {caution}", style="dim") for caution in answer.cautions]
    return Group(*parts)


def _shares(answer: ParriesAnswer) -> Table:
    table = Table(box=None, padding=(0, 2, 0, 0))
    for head in ("parry", "against", "attacks", "share", "unknown", "strings", "share"):
        table.add_column(head, justify="left" if head in ("parry", "against") else "right")
    for one in answer.opponents:
        table.add_row(
            one.parry, one.them, f"{one.caught}/{one.moves}", _percent(one.share), str(one.unknown),
            f"{one.strings_caught}/{one.strings}", _percent(one.strings_share),
        )
    return table


def _percent(share: float | None) -> str:
    return "-" if share is None else f"{share:.0%}"


def _move(move: CaughtMove) -> str:
    return f"{CAUGHT[move.caught]:8}{move.name}: {move.sentence}"


def _string(one: CaughtString) -> Iterator[RenderableType]:
    where = f" at hit {one.at}" if one.at else ""
    yield _in(2, f"{CAUGHT[one.caught]}{where}: {' > '.join(one.moves)}")
    for hit in one.hits:
        gap = "gap unknown" if hit.gap is None else _gap(hit.gap)
        yield _in(6, f"{hit.name}: {gap}. {hit.sentence}", style="dim")


def _gap(gap: list[int]) -> str:
    first, last = gap
    if last < 0:
        return "jails"
    return f"gap {max(0, first)}" if first == last else f"gap {max(0, first)} to {last}"


def _in(columns: int, line: str, style: str = "") -> Padding:
    return Padding(Text(line, style=style), (0, 0, 0, columns), expand=False)
