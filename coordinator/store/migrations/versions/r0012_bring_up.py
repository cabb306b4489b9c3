"""What was done of the bring-up of each joint."""

import sqlalchemy as sa
from alembic import op

from coordinator.store.columns import WHOLE

revision = "0012"
down_revision = "0011"


def upgrade() -> None:
    """Add the table."""
    op.create_table(
        "bring_up",
        sa.Column("id", WHOLE, primary_key=True),
        sa.Column("joint", sa.Text(), nullable=False),
        sa.Column("step", sa.Text(), nullable=False),
        sa.Column("utc", sa.Text(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("basis", sa.Text(), nullable=False),
        sa.Column("figures", sa.Text(), nullable=False),
        sa.Column("picture", sa.Text()),
    )
    op.create_index("ix_bring_up_joint", "bring_up", ["joint"])
