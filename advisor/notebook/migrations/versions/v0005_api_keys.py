"""The keys of the service."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

__all__ = ["downgrade", "upgrade"]

revision = "0005"
down_revision = "0004"


def upgrade() -> None:
    """Make the table."""
    op.create_table(
        "api_keys",
        sa.Column("id", sa.Text, primary_key=True, nullable=False),
        *(sa.Column(name, sa.Text, nullable=False) for name in ("name", "scopes", "hash", "created")),
        *(sa.Column(name, sa.Text) for name in ("expires", "revoked", "used")),
    )


def downgrade() -> None:
    """Drop it: no key holds any more."""
    op.drop_table("api_keys")
