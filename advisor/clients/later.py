"""Commands whose modules are loaded when they are called: a database or a solver costs the others nothing."""

from __future__ import annotations

from importlib import import_module

import click

__all__ = ["LATER", "Later"]

LATER = {
    **dict.fromkeys(("trial", "trials", "sets", "notebook"), "advisor.clients.notebook"),
    **dict.fromkeys(("import", "export", "mapping"), "advisor.clients.tables"),
    "compare": "advisor.clients.versions",
    "questions": "advisor.clients.questions",
    "completion": "advisor.clients.completion",
    "sheet": "advisor.clients.sheet",
    "settings": "advisor.clients.settings",
    "bot": "advisor.clients.bot",
    "keys": "advisor.clients.keys",
    "dashboard": "advisor.clients.dashboard",
}
"""The module of each command by its name; the module has it in ``COMMANDS``."""


class Later(click.Group):
    """A group that also has the commands of ``LATER``."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return sorted({*super().list_commands(ctx), *LATER})

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        found: click.Command | None
        if cmd_name in LATER:
            found = import_module(LATER[cmd_name]).COMMANDS[cmd_name]
        else:
            found = super().get_command(ctx, cmd_name)
        if found is not None and ctx.resilient_parsing:  # a shell asks for completion
            return import_module("advisor.clients.completion").with_ids(found)  # type: ignore[no-any-return]
        return found
