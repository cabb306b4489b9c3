"""How many ohms the hop to each joint was fitted to have; of what was kept before none is known."""

import sqlalchemy as sa
from alembic import op

from coordinator.store.columns import WHOLE

revision = "0010"
down_revision = "0009"


def upgrade() -> None:
    """Add the columns."""
    for column in (
        sa.Column("hop_ohm_least", WHOLE),
        sa.Column("hop_ohm_greatest", WHOLE),
        sa.Column("hop_ohm_total", WHOLE, nullable=False, server_default="0"),
        sa.Column("hop_ohm_count", WHOLE, nullable=False, server_default="0"),
    ):
        op.add_column("joint_history", column)
