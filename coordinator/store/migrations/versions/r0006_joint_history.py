"""What joints were over years, in cells of a second, a minute and an hour."""

import sqlalchemy as sa
from alembic import op

from coordinator.store.columns import WHOLE

revision = "0006"
down_revision = "0005"


def upgrade() -> None:
    """Add the table."""
    op.create_table(
        "joint_history",
        sa.Column("cell_s", WHOLE, primary_key=True, autoincrement=False),
        sa.Column("joint", sa.Text(), primary_key=True),
        sa.Column("start_s", WHOLE, primary_key=True, autoincrement=False),
        sa.Column("temperature_c_least", WHOLE),
        sa.Column("temperature_c_greatest", WHOLE),
        sa.Column("temperature_c_total", WHOLE, nullable=False),
        sa.Column("temperature_c_count", WHOLE, nullable=False),
        sa.Column("supply_v_least", WHOLE),
        sa.Column("supply_v_greatest", WHOLE),
        sa.Column("supply_v_total", WHOLE, nullable=False),
        sa.Column("supply_v_count", WHOLE, nullable=False),
        sa.Column("rtt_p99_us_least", WHOLE),
        sa.Column("rtt_p99_us_greatest", WHOLE),
        sa.Column("rtt_p99_us_total", WHOLE, nullable=False),
        sa.Column("rtt_p99_us_count", WHOLE, nullable=False),
        sa.Column("loss_least", WHOLE),
        sa.Column("loss_greatest", WHOLE),
        sa.Column("loss_total", WHOLE, nullable=False),
        sa.Column("loss_count", WHOLE, nullable=False),
        sa.Column("clock_uncertainty_us_least", WHOLE),
        sa.Column("clock_uncertainty_us_greatest", WHOLE),
        sa.Column("clock_uncertainty_us_total", WHOLE, nullable=False),
        sa.Column("clock_uncertainty_us_count", WHOLE, nullable=False),
        sa.Column("on_us", WHOLE, nullable=False),
        sa.Column("moving_us", WHOLE, nullable=False),
        sa.Column("starts", WHOLE, nullable=False),
        sa.Column("reversals", WHOLE, nullable=False),
        sa.Column("distance_udeg", WHOLE, nullable=False),
        sqlite_with_rowid=False,
    )
