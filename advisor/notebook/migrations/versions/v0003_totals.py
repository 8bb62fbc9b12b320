"""Totals of the trials that count, so that an answer need not count them."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

__all__ = ["downgrade", "upgrade"]

revision = "0003"
down_revision = "0002"

LIVE = "FROM trials WHERE NOT EXISTS (SELECT 1 FROM trials AS later WHERE later.corrects = trials.id)"


def upgrade() -> None:
    """Make both tables and fill them from the trials that are there."""
    op.create_table(
        "totals",
        *(sa.Column(name, sa.Text, primary_key=True) for name in ("situation_key", "response", "reply")),
        *(sa.Column(name, sa.BigInteger, nullable=False) for name in ("successes", "tries")),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "player_totals",
        sa.Column("player", sa.Text, primary_key=True),
        sa.Column("window", sa.Float, primary_key=True),
        *(sa.Column(name, sa.BigInteger, nullable=False) for name in ("successes", "tries")),
        sqlite_with_rowid=False,
    )
    op.execute(
        "INSERT INTO totals (situation_key, response, reply, successes, tries) "
        f"SELECT situation_key, response, COALESCE(reply, ''), SUM(successes), SUM(tries) {LIVE} "
        "GROUP BY situation_key, response, COALESCE(reply, '')"
    )
    op.execute(
        'INSERT INTO player_totals (player, "window", successes, tries) '
        f'SELECT player, "window", SUM(successes), SUM(tries) {LIVE} AND player IS NOT NULL AND "window" IS NOT NULL '
        'GROUP BY player, "window"'
    )


def downgrade() -> None:
    """Drop them: they say nothing that the trials do not."""
    op.drop_table("player_totals")
    op.drop_table("totals")
