"""How many ohms the hop to each joint was fitted to have; of what was kept before none is known."""

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"


def upgrade() -> None:
    """Add the columns."""
    for column in (
        sa.Column("hop_ohm_least", sa.Integer()),
        sa.Column("hop_ohm_greatest", sa.Integer()),
        sa.Column("hop_ohm_total", sa.Integer(), nullable=False, server_default="0"),
        sa.Column("hop_ohm_count", sa.Integer(), nullable=False, server_default="0"),
    ):
        op.add_column("joint_history", column)
