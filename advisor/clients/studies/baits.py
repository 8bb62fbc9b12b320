"""``advisor baits``: own moves that invite a reply which an option of mine takes."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import click
from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from advisor.clients.asking import distance_of, fighters_of, ids_of, place_options, state_options
from advisor.clients.running import run_options, run_study
from advisor.studies.baits import Bait, Baits, Tried

__all__ = ["command", "view"]

PLACES = {"/moves": "--moves", "/answers": "--answers", "/results": "--whiffed", "/eager": "--eager"}
SHOWN_MISSING = 6


@click.command("baits")
@click.argument("me")
@click.argument("them")
@place_options
@state_options
@click.option("--moves", help="My moves that may be the bait: ids with commas; all when left out.")
@click.option("--answers", help="My options that wait behind it: ids with commas; my parries when left out.")
@click.option("--replies", help="What they reply with: ids with commas; what a player would try when left out.")
@click.option("--whiffed", is_flag=True, help="The bait misses instead of being blocked.")
@click.option("--eager", type=click.IntRange(0, 20), default=0, show_default=True, help="Frames too slow, yet tried.")
@click.option("--usual-blockstun", type=click.IntRange(0, 120), help="Frames; the pack's median when left out.")
@click.option("--limit", type=click.IntRange(1, 400), default=8, show_default=True, help="Baits to list.")
@run_options
def command(me: str, them: str, whiffed: bool, **given: Any) -> None:
    """Moves of ME that leave it where the natural reply of THEM runs into a parry (or any option) of ME.

    \b
    advisor baits wenna marl --at touching
    advisor baits wenna marl --at touching --moves ladder_hop --answers set_pane --replies soot_jab,ember_elbow
    """
    run_study(
        "baits",
        lambda: {
            **fighters_of(me, them, given),
            "pack": given["pack"],
            "distance": distance_of(given["distance"]),
            **{name: ids_of(given[name]) for name in ("moves", "answers", "replies")},
            "results": ["whiffed" if whiffed else "blocked"],
            **{name: given[name] for name in ("eager", "usual_blockstun", "limit")},
        },
        given,
        view,
        places=PLACES,
    )


def view(answer: Baits, _width: int) -> RenderableType:
    """The baits, best first; lines fold at any width."""
    parts: list[RenderableType] = [Text(answer.summary, style="bold")]
    for place, bait in enumerate(answer.baits, 1):
        parts += _lines(place, bait)
    left = answer.found - len(answer.baits)
    if left > 0:
        parts.append(Text(f"{left} more were found; --limit shows more.", style="dim"))
    if answer.missing:
        lab = ", ".join(f"{m.move}: {m.property}" if m.move else m.property for m in answer.missing[:SHOWN_MISSING])
        parts.append(Text(f"Not recorded, and answers hang on it: {lab}"))
    parts += [Text(f"Note: {caution}", style="dim") for caution in answer.cautions]
    return Group(*parts)


def _lines(place: int, bait: Bait) -> Iterator[RenderableType]:
    head = Text(f"{place:>2}. ")
    head.append(f"{bait.name}, then {bait.answer_name}", style="bold")
    looks = f", looks like {bait.looks:+d}" if bait.looks is not None else ""
    air = ", in the air" if bait.airborne else ""
    damage = f", {bait.damage:g} damage" if bait.damage is not None else ""
    yield head
    yield _in(4, Text(f"{bait.result}: {bait.advantage:+d}{looks}{air}; catches {bait.caught} of {bait.of}{damage}"))
    yield from (_in(4, _tried(each)) for each in bait.tries)


def _tried(each: Tried) -> Text:
    if not each.caught:
        return Text(f"{each.name} ({each.why.replace('_', ' ')}): {each.verdict}. {each.sentence}")
    frames = f", on frames {each.frames.first}-{each.frames.last}" if each.frames else ""
    return Text(f"{each.name} ({each.why.replace('_', ' ')}): caught{frames}. {each.sentence}")


def _in(columns: int, text: Text) -> Padding:
    return Padding(text, (0, 0, 0, columns), expand=False)
