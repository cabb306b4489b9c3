"""Which alarms somebody shelved, and until when."""

import sqlalchemy as sa
from alembic import op

from coordinator.store.columns import WHOLE

revision = "0009"
down_revision = "0008"


def upgrade() -> None:
    """Add the table."""
    op.create_table(
        "shelves",
        sa.Column("joint", sa.Text(), primary_key=True),
        sa.Column("code", sa.Text(), primary_key=True),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("since_s", WHOLE, nullable=False),
        sa.Column("until_s", WHOLE, nullable=False),
    )
