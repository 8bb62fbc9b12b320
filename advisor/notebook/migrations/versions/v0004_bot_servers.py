"""The packs that servers chose for the study bot."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

__all__ = ["downgrade", "upgrade"]

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    """Make the table."""
    op.create_table(
        "bot_servers",
        sa.Column("server", sa.Text, primary_key=True, nullable=False),
        *(sa.Column(name, sa.Text, nullable=False) for name in ("pack", "time")),
    )


def downgrade() -> None:
    """Drop it; what was chosen is lost."""
    op.drop_table("bot_servers")
