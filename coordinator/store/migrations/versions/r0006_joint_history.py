"""What joints were over years, in cells of a second, a minute and an hour."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"


def upgrade() -> None:
    """Add the table."""
    op.create_table(
        "joint_history",
        sa.Column("cell_s", sa.Integer(), primary_key=True, autoincrement=False),
        sa.Column("joint", sa.Text(), primary_key=True),
        sa.Column("start_s", sa.Integer(), primary_key=True, autoincrement=False),
        sa.Column("temperature_c_least", sa.Integer()),
        sa.Column("temperature_c_greatest", sa.Integer()),
        sa.Column("temperature_c_total", sa.Integer(), nullable=False),
        sa.Column("temperature_c_count", sa.Integer(), nullable=False),
        sa.Column("supply_v_least", sa.Integer()),
        sa.Column("supply_v_greatest", sa.Integer()),
        sa.Column("supply_v_total", sa.Integer(), nullable=False),
        sa.Column("supply_v_count", sa.Integer(), nullable=False),
        sa.Column("rtt_p99_us_least", sa.Integer()),
        sa.Column("rtt_p99_us_greatest", sa.Integer()),
        sa.Column("rtt_p99_us_total", sa.Integer(), nullable=False),
        sa.Column("rtt_p99_us_count", sa.Integer(), nullable=False),
        sa.Column("loss_least", sa.Integer()),
        sa.Column("loss_greatest", sa.Integer()),
        sa.Column("loss_total", sa.Integer(), nullable=False),
        sa.Column("loss_count", sa.Integer(), nullable=False),
        sa.Column("clock_uncertainty_us_least", sa.Integer()),
        sa.Column("clock_uncertainty_us_greatest", sa.Integer()),
        sa.Column("clock_uncertainty_us_total", sa.Integer(), nullable=False),
        sa.Column("clock_uncertainty_us_count", sa.Integer(), nullable=False),
        sa.Column("on_us", sa.Integer(), nullable=False),
        sa.Column("moving_us", sa.Integer(), nullable=False),
        sa.Column("starts", sa.Integer(), nullable=False),
        sa.Column("reversals", sa.Integer(), nullable=False),
        sa.Column("distance_udeg", sa.Integer(), nullable=False),
        sqlite_with_rowid=False,
    )
