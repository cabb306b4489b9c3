"""Waypoints and sequences, and every change of them."""

import sqlalchemy as sa
from alembic import op

from coordinator.store.columns import JSON, WHOLE

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    """Add the tables."""
    op.create_table(
        "taught",
        sa.Column("id", WHOLE, primary_key=True, autoincrement=False),
        sa.Column("revision", WHOLE, nullable=False),
        sa.Column("head", WHOLE),
        sa.Column("next_id", WHOLE, nullable=False),
        sa.Column("content", sa.Text(), nullable=False),
    )
    op.create_table(
        "taught_changes",
        sa.Column("id", WHOLE, primary_key=True),
        sa.Column("parent", WHOLE, index=True),
        sa.Column("utc", sa.Text(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("words", sa.Text(), nullable=False),
        sa.Column("sequences", JSON, nullable=False),
        sa.Column("steps", sa.Text(), nullable=False),
    )
