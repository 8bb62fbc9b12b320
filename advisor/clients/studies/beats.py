"""``advisor beats``: everything that answers an option of theirs, by moment of its life."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import click
from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from advisor.clients.asking import distance_of, ids_of, place_options
from advisor.clients.running import run_options, run_study
from advisor.studies.beats_answer import AnswerCell, AnswerRow, BeatsAnswer

__all__ = ["command", "view"]

WHEN = {
    "before": "Before it lands", "during": "While it runs", "gap": "In the gap of the string",
    "after_block": "After a block", "after_whiff": "After it missed",
}
PLACES = {
    "/moves": "MOVES", "/string": "MOVES", "/shares": "--shares",
    "/me/character": "--by", "/advantage": "--advantage", "/held": "--held",
    "/delays": "--delays", "/when": "--when", "/limit": "--limit",
}
SHOWN_MISSING = 6


@click.command("beats")
@click.argument("them")
@click.argument("moves")
@click.option("--by", metavar="CHARACTER", help="Who answers; the whole roster when left out.")
@click.option("--string", is_flag=True, help="MOVES are the hits of one string; else a habit, each by itself.")
@click.option("--shares", help="How often they do each of MOVES, with commas: counts or shares; equal when left out.")
@click.option("--advantage", type=click.IntRange(-200, 200), default=0, help="Frames by which I can act before it.")
@click.option(
    "--held", type=click.Choice(["recovery", "blockstun", "hitstun"]), default="recovery", show_default=True,
    help="With --advantage: what holds the later side.",
)
@click.option("--delays", type=click.IntRange(0, 120), help="Frames by which I may start later, at most (60).")
@click.option("--when", help="Only these moments, with commas: before, during, gap, after_block, after_whiff.")
@click.option("--limit", type=click.IntRange(1, 200), default=5, show_default=True, help="Answers for each moment.")
@click.option("--my-meter", type=int, help="Meter of who answers; unknown when left out.")
@place_options
@run_options
def command(them: str, moves: str, **given: Any) -> None:
    """What beats MOVES of THEM? Ids of options with commas.

    \b
    advisor beats ilko sting --by wenna --at close
    advisor beats ilko sting,second_sting,comb_lift --string --by wenna --at touching
    advisor beats marl cinder_knee --at touching --limit 3
    advisor beats ilko sting,brood_grip --shares 7,3 --by wenna --at touching
    """

    def body() -> dict[str, Any]:
        me = None if given["by"] is None else {"character": given["by"], "meter": given["my_meter"]}
        return {
            "them": {"character": them}, "string" if given["string"] else "moves": ids_of(moves), "me": me,
            "pack": given["pack"], "distance": distance_of(given["distance"]), "advantage": given["advantage"],
            "shares": _numbers(given["shares"]),
            "held": given["held"], "delays": given["delays"], "when": ids_of(given["when"]), "limit": given["limit"],
        }

    run_study("beats", body, given, view, places=PLACES)


def _numbers(text: str | None) -> list[float | str] | None:
    """Numbers with commas; what is none stays as it is, to be refused with its place."""
    if text is None:
        return None
    out: list[float | str] = []
    for part in text.split(","):
        try:
            out.append(float(part))
        except ValueError:
            out.append(part.strip())
    return out


def view(answer: BeatsAnswer, width: int) -> RenderableType:
    """The option, then the answers by moment, a line and a reason each; ``width`` is not used."""
    del width
    parts: list[RenderableType] = [Text(answer.summary, style="bold")]
    parts += [Text(target.sentence) for target in answer.targets]
    who = f" by {answer.me}" if answer.me else ", whole roster"
    parts.append(Text(f"At {answer.distance:g} {answer.unit}, {answer.advantage:+d}{who}", style="dim"))
    for when, title in WHEN.items():
        rows = [row for row in answer.rows if row.when == when]
        shut = [one for one in answer.open if one.when == when]
        if not rows and not shut:
            continue
        parts.append(Text(f"\n{title}", style="bold"))
        parts += [_in(2, one.sentence) for one in shut]
        for row in rows:
            parts += _row(row, roster=answer.me is None)
        left = answer.found.get(when, 0) - len(rows)
        if left > 0:
            parts.append(_in(2, f"{left} more may answer; --limit shows more.", style="dim"))
    if answer.missing:
        lab = ", ".join(f"{m.move}: {m.property}" if m.move else m.property for m in answer.missing[:SHOWN_MISSING])
        parts.append(Text(f"\nNot recorded, and answers hang on it: {lab}"))
    parts += [Text(f"Note: {caution}", style="dim") for caution in answer.cautions]
    return Group(*parts)


def _row(row: AnswerRow, *, roster: bool) -> Iterator[RenderableType]:
    who = f"{row.character}: " if roster else ""
    figures = [row.verdict.replace("_", " ")]
    if row.of > 1:
        figures.append(f"{row.covers} of {row.of}, {row.share:.0%} of the habit")
    if row.damage is not None:
        figures.append(f"{row.damage:g} damage")
    if row.window is not None:
        figures.append("just frame" if row.window == 1 else f"{row.window} frames")
    if row.delay:
        figures.append(f"begun {row.delay} frames later")
    figures += [f"needs {need}" for need in row.needs]
    yield _in(2, f"{who}{row.name}: {', '.join(figures)}")
    for cell in row.cells:
        before = f"{cell.against} ({cell.share:.0%}): " if row.of > 1 else ""
        yield _in(6, f"{before}{_said(cell)}", style="dim")


def _said(cell: AnswerCell) -> str:
    """The sentence, the distances, what follows and what it hangs on."""
    parts = [cell.sentence]
    low, high = cell.works_from, cell.works_to
    if low is not None and high is not None:
        parts.append(f"Works beyond {low:g}, up to {high:g}.")
    elif low is not None or high is not None:
        parts.append(f"Works beyond {low:g}." if low is not None else f"Works up to {high:g}.")
    if cell.then:
        parts.append(f"Then {', '.join(_punish(f.name, f.damage) for f in cell.then)}.")
    if cell.unless:
        parts.append(f"Not if they go on with {', '.join(cell.unless)}.")
    return " ".join(parts)


def _punish(name: str, damage: float | None) -> str:
    return name if damage is None else f"{name} ({damage:g})"


def _in(columns: int, line: str, style: str = "") -> Padding:
    return Padding(Text(line, style=style), (0, 0, 0, columns), expand=False)
