"""The command ``advisor dashboard``: a dashboard and alert rules for the metrics of the service."""

from __future__ import annotations

from pathlib import Path

import click

from advisor.clients.running import guarded, unwritable
from advisor.service.seen.board import alert_rules
from advisor.service.seen.board import dashboard as board

__all__ = ["COMMANDS"]


@click.command()
@click.option("--alerts", is_flag=True, help="The alert rules for Prometheus (YAML) in place of the dashboard.")
@click.option(
    "--out", type=click.Path(dir_okay=False, path_type=Path), metavar="FILE",
    help="Write to this file; to standard output when left out.",
)
def dashboard(alerts: bool, out: Path | None) -> None:
    """A dashboard for Grafana (JSON, to import), or alert rules for Prometheus, on what `/metrics` shows.

    The scrape job is to be called `advisor`; away from loopback it needs a key with the scope admin.

    \b
    advisor dashboard --out advisor.json
    advisor dashboard --alerts --out alerts.yaml
    """

    def run() -> None:
        text = alert_rules() if alerts else board()
        if out is None:
            click.echo(text, nl=False)
            return
        try:
            out.write_text(text, encoding="utf-8")
        except OSError as error:
            raise unwritable("--out", out, error) from None
        click.echo(f"{out}: {len(text.encode())} bytes", err=True)

    guarded(run)


COMMANDS: dict[str, click.Command] = {"dashboard": dashboard}
"""The command by its name."""
