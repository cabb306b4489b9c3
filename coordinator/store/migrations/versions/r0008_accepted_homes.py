"""Which homes somebody accepted that had wandered."""

import sqlalchemy as sa
from alembic import op

from coordinator.store.columns import WHOLE

revision = "0008"
down_revision = "0007"


def upgrade() -> None:
    """Add the table."""
    op.create_table(
        "accepted_homes",
        sa.Column("joint", sa.Text(), primary_key=True),
        sa.Column("homing", WHOLE, primary_key=True, autoincrement=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("utc", sa.Text(), nullable=False),
    )
