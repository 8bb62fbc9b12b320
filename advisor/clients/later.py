"""Commands whose modules are loaded when they are called: a database or a solver costs the others nothing."""

from __future__ import annotations

from importlib import import_module

import click

__all__ = ["LATER", "Later"]

LATER = {
    **dict.fromkeys(("trial", "trials", "sets", "notebook"), "advisor.clients.notebook"),
    **dict.fromkeys(("import", "export", "mapping"), "advisor.clients.tables"),
    "compare": "advisor.clients.versions",
}
"""The module of each command by its name; the module has it in ``COMMANDS``."""


class Later(click.Group):
    """A group that also has the commands of ``LATER``."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return sorted({*super().list_commands(ctx), *LATER})

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name in LATER:
            commands: dict[str, click.Command] = import_module(LATER[cmd_name]).COMMANDS
            return commands[cmd_name]
        return super().get_command(ctx, cmd_name)
