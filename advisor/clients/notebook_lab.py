"""``advisor sets lab``: what to do next in the lab, on the command line."""

from __future__ import annotations

from typing import Any

import click
from rich.console import Console
from rich.table import Table

from advisor.clients.running import guarded, library_of, print_json, progress_bar, run_options
from advisor.notebook import Notebook, Sets, notebook_url
from advisor.notebook.next_lab import NextLab, next_lab

__all__ = ["lab"]


@click.command("lab")
@click.argument("name")
@click.option("--tries", type=int, default=10, show_default=True, help="Tries of each trial (1 to 10000).")
@click.option("--limit", type=int, default=20, show_default=True, help="Items to list.")
@run_options
def lab(name: str, **given: Any) -> None:
    """Rank what to try or measure next for the set NAME, by the damage that knowing it brings.

    \b
    advisor sets lab punishes --tries 20
    """

    def run() -> None:
        library = library_of(given)
        with Notebook(notebook_url()) as notebook, progress_bar(given, "questions") as progress:
            found = next_lab(
                Sets(notebook), name, notebook, library, tries=given["tries"], limit=given["limit"], progress=progress
            )
        if given["as_json"]:
            print_json(found)
        else:
            _show(found)

    guarded(run, as_json=given["as_json"])


def _show(found: NextLab) -> None:
    console = Console(soft_wrap=True, highlight=False, markup=False)
    if found.items:
        table = Table(box=None, pad_edge=False)
        table.add_column("damage", justify="right", no_wrap=True)
        table.add_column("changes", justify="right", no_wrap=True)
        table.add_column("do this", overflow="fold")
        for item in found.items:
            table.add_row(f"{item.value:.3g}", f"{100 * item.chance:.0f} %", item.sentence)
        Console(highlight=False).print(table)
    else:
        console.print(found.summary)
    for entry in found.entries:
        if entry.advised != entry.best:
            console.print(f"{entry.entry}: {entry.advised} is advised, {entry.best} is worth most ({entry.worth:.3g})")
    for one in found.left_out:
        console.print(f"left out: {one.what} ({one.reason})")
    if not found.complete:
        console.print("not complete: a bound was reached")
