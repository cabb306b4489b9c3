"""How far each joint was from where its plan had it; of what was kept before none is known."""

import sqlalchemy as sa
from alembic import op

from coordinator.store.columns import WHOLE

revision = "0013"
down_revision = "0012"


def upgrade() -> None:
    """Add the columns."""
    for column in (
        sa.Column("position_error_deg_least", WHOLE),
        sa.Column("position_error_deg_greatest", WHOLE),
        sa.Column("position_error_deg_total", WHOLE, nullable=False, server_default="0"),
        sa.Column("position_error_deg_count", WHOLE, nullable=False, server_default="0"),
    ):
        op.add_column("joint_history", column)
