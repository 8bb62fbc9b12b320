"""Runs the migrations on the connection that ``advisor.notebook.schema`` opened; it commits, not this module."""

from __future__ import annotations

from alembic import context

from advisor.notebook.tables import METADATA

__all__ = ["run"]


def run() -> None:
    """Bring the tables to the version that was asked for."""
    context.configure(connection=context.config.attributes["connection"], target_metadata=METADATA)
    context.run_migrations()


run()
