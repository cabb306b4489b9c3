"""The journal, homings, acknowledgements of warnings, and settings."""

import sqlalchemy as sa
from alembic import op

from coordinator.store.columns import JSON, WHOLE

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Make their tables."""
    op.create_table(
        "events",
        sa.Column("id", WHOLE, primary_key=True),
        sa.Column("utc", sa.Text(), nullable=False),
        sa.Column("at_us", WHOLE, nullable=False),
        sa.Column("level", sa.Text(), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("message", sa.Text(), nullable=False),
        sa.Column("joint", sa.Text()),
        sa.Column("who", sa.Text()),
    )
    op.create_table(
        "homings",
        sa.Column("number", WHOLE, primary_key=True, autoincrement=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("began_utc", sa.Text(), nullable=False),
        sa.Column("ended_utc", sa.Text()),
        sa.Column("result", JSON, nullable=False),
    )
    op.create_table(
        "acknowledgements",
        sa.Column("id", WHOLE, primary_key=True),
        sa.Column("warning", sa.Text(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("utc", sa.Text(), nullable=False),
    )
    op.create_table(
        "settings",
        sa.Column("key", sa.Text(), primary_key=True),
        sa.Column("value", JSON, nullable=False),
    )
