"""The command ``advisor settings``: every setting, what it is, where that comes from, and what it means."""

from __future__ import annotations

from typing import Any

import click
from rich.console import Console, RenderableType
from rich.table import Table

from advisor.clients.running import guarded, json_option, print_json
from advisor.service.settings import read_settings, shown_settings

__all__ = ["COMMANDS", "settings_rows", "settings_view"]


def settings_rows() -> list[dict[str, Any]]:
    """A row for each setting: `name` (of the variable), `value` (secrets hidden), `source`, `meaning`.

    Errors: ``QuestionError`` for a setting that is faulty.
    """
    shown = shown_settings(read_settings())
    return [
        {"name": name, "value": value, "source": source, "meaning": meaning}
        for name, (value, source, meaning) in shown.items()
    ]


def settings_view(rows: list[dict[str, Any]]) -> RenderableType:
    """The rows as a table."""
    table = Table(box=None, pad_edge=False)
    for heading in ("setting", "value", "from", "meaning"):
        table.add_column(heading, overflow="fold")
    for row in rows:
        value = row["value"]
        said = ", ".join(value) if isinstance(value, list) else "" if value is None else str(value)
        table.add_row(row["name"], said or "-", row["source"], row["meaning"])
    return table


@click.command()
@json_option
def settings(as_json: bool) -> None:
    """Every setting of the service and the command line, its value and where that comes from.

    A setting is a variable, or a line `name = value` of the TOML file that ADVISOR_SETTINGS names; the variable goes
    first. Secrets are not shown.
    """

    def run() -> None:
        rows = settings_rows()
        if as_json:
            print_json(rows)
        else:
            Console().print(settings_view(rows), markup=False)

    guarded(run, as_json=as_json)


COMMANDS: dict[str, click.Command] = {"settings": settings}
"""The command by its name."""
