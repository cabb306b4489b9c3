"""Which alarms nobody has seen; of those from before none is known."""

import sqlalchemy as sa
from alembic import op

from coordinator.store.columns import WHOLE

revision = "0011"
down_revision = "0010"


def upgrade() -> None:
    """Add the table."""
    op.create_table(
        "unseen_alarms",
        sa.Column("joint", sa.Text(), primary_key=True),
        sa.Column("code", sa.Text(), primary_key=True),
        sa.Column("message", sa.Text(), nullable=False),
        sa.Column("since_s", WHOLE, nullable=False),
    )
