"""Programs that are kept, by their texts, and of which of them a run was."""

import sqlalchemy as sa
from alembic import op

from coordinator.store.columns import WHOLE

revision = "0005"
down_revision = "0004"


def upgrade() -> None:
    """Add the table and the column."""
    op.create_table(
        "texts",
        sa.Column("sha256", sa.Text(), primary_key=True),
        sa.Column("text", sa.Text(), nullable=False),
    )
    op.add_column("runs", sa.Column("taught", WHOLE))
    op.add_column("runs", sa.Column("taught_sha256", sa.Text()))
    op.create_index("ix_runs_taught", "runs", ["taught"])
