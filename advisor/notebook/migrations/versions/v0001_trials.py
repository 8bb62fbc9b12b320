"""Trials."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

__all__ = ["downgrade", "upgrade"]

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the table of trials."""
    op.create_table(
        "trials",
        sa.Column("serial", sa.BigInteger().with_variant(sa.Integer, "sqlite"), primary_key=True, autoincrement=True),
        sa.Column("id", sa.Text, nullable=False, unique=True),
        sa.Column("key", sa.Text, nullable=False, unique=True),
        *(sa.Column(name, sa.Text, nullable=False) for name in ("content", "situation", "situation_key", "response")),
        sa.Column("reply", sa.Text),
        sa.Column("delay", sa.Integer),
        sa.Column("window", sa.Float),
        sa.Column("successes", sa.Integer, nullable=False),
        sa.Column("tries", sa.Integer, nullable=False),
        sa.Column("player", sa.Text),
        *(sa.Column(name, sa.Text, nullable=False) for name in ("data_version", "pack_hash", "note", "time")),
        sa.Column("corrects", sa.Text, sa.ForeignKey("trials.id"), unique=True),
        sa.CheckConstraint("tries >= 1 AND successes >= 0 AND successes <= tries", name="trials_counts"),
    )
    op.create_index("trials_counted", "trials", ["situation_key", "response", "reply", "id", "successes", "tries"])
    op.create_index("trials_player", "trials", ["player", "serial"])


def downgrade() -> None:
    """Drop it."""
    op.drop_table("trials")
