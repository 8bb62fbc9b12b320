"""``advisor strings``: what jails, what leaves a gap, and what fits in it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import click
from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from advisor.clients.asking import distance_of, ids_of, place_options
from advisor.clients.running import run_options, run_study
from advisor.studies.strings_answer import Fit, StringLink, StringMix, StringsAnswer
from advisor.studies.weighing import FrameRun

__all__ = ["command", "view"]

PLACES = {
    "/character": "CHARACTER", "/starter": "--starter", "/them/character": "--them", "/them/meter": "--their-meter",
    "/most_hits": "--most-hits",
}
ON = {"block": "blocked", "hit": "on hit", "counter_hit": "on counter-hit"}
_NAMED = 12


@click.command("strings")
@click.argument("character")
@click.option("--starter", metavar="MOVE", help="Only strings that begin with this move.")
@click.option("--them", metavar="CHARACTER", help="Who faces them; anyone when left out.")
@click.option("--their-meter", type=int, help="Meter of who faces them; unknown when left out.")
@click.option("--responses", help="Try only these options of theirs in the gaps: ids with commas.")
@click.option("--most-hits", type=int, help="Longest string, in moves (6).")
@click.option("--limit", type=click.IntRange(1, 400), default=5, show_default=True, help="Options to list for a gap.")
@place_options
@run_options
def command(character: str, **given: Any) -> None:
    """Strings of CHARACTER: after each hit, does it jail, and what fits in the gap?

    \b
    advisor strings ilko --starter sting --them wenna --at touching
    """

    def body() -> dict[str, Any]:
        them = None if given["them"] is None else {"character": given["them"], "meter": given["their_meter"]}
        return {
            "character": character, "starter": given["starter"], "them": them, "pack": given["pack"],
            "distance": distance_of(given["distance"]), "responses": ids_of(given["responses"]),
            "most_hits": given["most_hits"], "limit": given["limit"],
        }

    run_study("strings", body, given, view, places=PLACES)


def view(answer: StringsAnswer, width: int) -> RenderableType:
    """Strings in a line each, then the steps with what fits in their gaps, then the mix-ups; ``width`` is not used."""
    del width
    parts: list[RenderableType] = [Text(answer.summary, style="bold")]
    parts += [Text(line.sentence) for line in answer.strings]
    for link in answer.links:
        if link.word not in ("jails", "combos", "misses"):
            parts += _link(link)
    for mix in answer.mixups:
        parts += _mix(mix)
    if answer.missing:
        lab = ", ".join(f"{m.move}: {m.property}" if m.move else m.property for m in answer.missing[:_NAMED])
        parts.append(Text(f"\nNot recorded, and steps hang on it: {lab}"))
    parts += [Text(f"Note: {caution}", style="dim") for caution in answer.cautions]
    return Group(*parts)


def _link(link: StringLink) -> Iterator[RenderableType]:
    yield Text(f"\n{' > '.join(link.after)}, {ON[link.on]}, then {link.move}", style="bold")
    yield _in(2, Text(link.sentence))
    for fit in link.fits:
        yield _in(4, _fit(fit, link))
    left = link.fitting - len(link.fits)
    if left > 0:
        yield _in(4, Text(f"{left} more fit; --limit shows more.", style="dim"))
    if not link.fits and link.weighed:
        yield _in(4, Text(f"none of {link.weighed} options does anything there"))


def _fit(fit: Fit, link: StringLink) -> Text:
    """The option, on which delays it works, and when not always, against which arrivals."""
    text = Text(fit.option, style="bold")
    said = f": {fit.verdict.replace('_', ' ')}"
    if link.arrives is not None and link.arrives.width > 1 and not fit.against_all:
        said += f" when it arrives on {_runs(fit.arrives)}"
    if any(run.last for run in fit.delays):
        said += f", delayed by {_runs(fit.delays)}"
    return text.append(f"{said}. {fit.sentence}", "not bold")


def _mix(mix: StringMix) -> Iterator[RenderableType]:
    yield Text(f"\nMix-up after {' > '.join(mix.after)}, {ON[mix.on]}", style="bold")
    yield _in(2, Text(mix.sentence))
    for choice in mix.choices:
        yield _in(4, Text(choice.sentence))


def _runs(runs: list[FrameRun]) -> str:
    return ", ".join(run.shown() for run in runs)


def _in(columns: int, text: Text) -> Padding:
    return Padding(text, (0, 0, 0, columns), expand=False)
