"""Runs with their reports and programs."""

import sqlalchemy as sa
from alembic import op

from coordinator.store.columns import JSON, WHOLE

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the table of runs."""
    op.create_table(
        "runs",
        sa.Column("number", WHOLE, primary_key=True, autoincrement=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("program", sa.Text()),
        sa.Column("outcome", sa.Text(), nullable=False),
        sa.Column("began_utc", sa.Text()),
        sa.Column("ended_utc", sa.Text()),
        sa.Column("report", JSON, nullable=False),
    )
