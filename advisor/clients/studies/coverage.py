"""``advisor coverage``: the table of my options against theirs, with the delays that cover them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import click
from rich.console import Group, RenderableType
from rich.markup import escape
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from advisor.clients.asking import choice_options, ids_of, moment_options, place_options, replies_of, situation_of
from advisor.clients.asking import state_options as known_state
from advisor.clients.picturing import picture_options, run_pictured
from advisor.clients.running import run_options
from advisor.studies.coverage_answer import Cell, CoverageAnswer, Partner, ReplyHead, Row
from advisor.studies.weighing import FrameRun

__all__ = ["command", "view"]

WORDS = {"guaranteed": "sure", "in_range": "if near"}
"""Shorter words for verdicts, as a column has little room; the others stand for themselves."""

FIRST, EACH = 18, 10
"""Columns of the name of an option and of each reply."""

PLACES = {"/delays": "--delays", "/spread": "--spread", "/cover": "--cover", "/row": "--row"}


@click.command()
@click.argument("me")
@click.argument("them")
@moment_options
@place_options
@choice_options
@click.option("--cover", help="The replies that have to be covered: ids with commas; all when left out.")
@click.option("--delays", type=click.IntRange(0, 120), default=60, show_default=True, help="Longest delay, frames.")
@click.option("--spread", type=float, help="Your timing spread (standard deviation) in frames, for the chance to hit.")
@click.option("--limit", type=click.IntRange(1, 100), default=8, show_default=True, help="Rows to list.")
@click.option(
    "--picture", type=click.Choice(["table", "timing"]), default="table", show_default=True,
    help="What --svg and --png show: all rows, or one row over every delay.",
)
@click.option("--row", metavar="ID", help="With --picture timing: the row to show; the best one when left out.")
@picture_options
@known_state
@run_options
def command(me: str, them: str, **given: Any) -> None:
    """Which option of ME covers which of THEM, and with what timing? Both are character ids.

    \b
    advisor coverage marl wenna --knockdown face_up --frames 20 --at close --spread 1.5
    advisor coverage marl wenna --knockdown face_up --frames 20 --at close --cover quick_rise,stay_down
    advisor coverage wenna marl --knockdown face_up --floored me --frames 20 --at close
    advisor coverage marl wenna --knockdown face_up --frames 20 --at close --picture timing --svg timing.svg
    """
    run_pictured(
        "coverage",
        lambda: {
            **situation_of(me, them, given),
            "replies": replies_of(given["replies"]),
            "responses": ids_of(given["responses"]),
            "cover": ids_of(given["cover"]),
            "delays": given["delays"],
            "spread": given["spread"],
            "limit": given["limit"],
            "picture": given["picture"],
            "row": given["row"],
        },
        given,
        view,
        places=PLACES,
    )


def view(answer: CoverageAnswer, width: int) -> RenderableType:
    """The table and a line of reasons for each row; ``width`` in columns."""
    mine = answer.timed_by == "me"
    best = "at best, then my delays that win" if mine else "at best for them, then their delays that beat me"
    parts: list[RenderableType] = [
        Text(answer.situation.sentence),
        Text(answer.summary, style="bold"),
        Text(f"Each cell: the verdict {best} (0-{answer.delays} tried).", "dim"),
    ]
    fit = max(1, (width - FIRST) // EACH)
    for at in range(0, len(answer.replies), fit):
        parts.append(_table(answer.rows, answer.replies[at : at + fit], at, mine))
    for place, row in enumerate(answer.rows, 1):
        parts.append(Text(f"{place:>2}. {row.sentence}"))
        parts += [Padding(Text(line, "dim"), (0, 0, 0, 4)) for line in _more(row, answer)]
    left = answer.considered - len(answer.rows)
    if left > 0:
        parts.append(Text(f"{left} more were tried; --limit shows more.", "dim"))
    if answer.missing:
        lab = ", ".join(f"{m.move}: {m.property}" if m.move else m.property for m in answer.missing[:6])
        parts.append(Text(f"Not recorded, and cells hang on it: {lab}"))
    parts += [Text(f"Note: {caution}", "dim") for caution in answer.cautions]
    return Group(*parts)


def _table(rows: Sequence[Row], replies: Sequence[ReplyHead], at: int, mine: bool) -> Table:
    table = Table(box=None, padding=(0, 1, 0, 0), pad_edge=False)
    table.add_column("mine", width=FIRST - 1, overflow="fold")
    for reply in replies:
        name = reply.name if reply.chosen else f"({reply.name})"
        table.add_column(escape(name), width=EACH - 1, overflow="fold")
    for row in rows:
        table.add_row(escape(row.name), *(_shown(cell, mine) for cell in row.cells[at : at + len(replies)]))
    return table


def _shown(cell: Cell, mine: bool) -> str:
    """The verdict in a short word, and the runs of delays below it."""
    runs = cell.covers if mine else cell.loses
    word = WORDS.get(cell.verdict, cell.verdict)
    return f"{word}\n{_run(runs)}" if runs else word


def _run(runs: Sequence[FrameRun]) -> str:
    """The longest run; ``+1`` says that there is one more."""
    run = max(runs, key=lambda r: r.width)
    more = f" +{len(runs) - 1}" if len(runs) > 1 else ""
    return f"{run.shown()}{more}"


def _more(row: Row, answer: CoverageAnswer) -> list[str]:
    """What helps against what the row loses to, what it needs, and the reason for the first cell that counts."""
    names = {reply.reply: reply.name for reply in answer.replies}
    lines = [_helps(partner, names) for partner in row.partners[:2]]
    if row.needs:
        lines.append(f"Needs {', '.join(row.needs)}.")
    first = next((c for c in row.cells if c.reply in (row.covers or row.loses_to)), None)
    if first is not None:
        lines.insert(0, f"Against {first.name}: {first.sentence}")
    return lines


def _helps(partner: Partner, names: dict[str, str]) -> str:
    beaten = ", ".join(names[reply] for reply in partner.covers)
    when = f" (delays {_run(partner.windows)})" if partner.windows else ""
    return f"{partner.name} beats {beaten}{when}: {len(partner.covers)} of the {partner.of} it does not beat."
