"""Study sets with their answers."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

__all__ = ["downgrade", "upgrade"]

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Make the tables of sets, entries and answers."""
    serial = sa.BigInteger().with_variant(sa.Integer, "sqlite")
    op.create_table(
        "sets",
        sa.Column("serial", serial, primary_key=True, autoincrement=True),
        *(sa.Column(name, sa.Text, nullable=False) for name in ("name", "note", "time")),
        sa.Column("removed", sa.Text),
    )
    op.create_index("ix_sets_name", "sets", ["name"])
    op.create_table(
        "entries",
        sa.Column("serial", serial, primary_key=True, autoincrement=True),
        sa.Column("set_serial", serial, sa.ForeignKey("sets.serial"), nullable=False),
        *(sa.Column(name, sa.Text, nullable=False) for name in ("name", "note")),
        sa.Column("study", sa.Text),
        sa.Column("request", sa.Text, nullable=False),
        sa.Column("removed", sa.Text),
    )
    op.create_index("ix_entries_set_serial", "entries", ["set_serial"])
    op.create_table(
        "answers",
        sa.Column("serial", serial, primary_key=True, autoincrement=True),
        sa.Column("entry_serial", serial, sa.ForeignKey("entries.serial"), nullable=False),
        *(sa.Column(n, sa.Text, nullable=False) for n in ("answer", "data_version", "pack_hash", "rules_hash", "time")),
    )
    op.create_index("ix_answers_entry_serial", "answers", ["entry_serial"])


def downgrade() -> None:
    """Drop them, the ones that point to others first."""
    for table in ("answers", "entries", "sets"):
        op.drop_table(table)
