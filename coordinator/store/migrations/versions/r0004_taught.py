"""Waypoints and sequences, and every change of them."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    """Add the tables."""
    op.create_table(
        "taught",
        sa.Column("id", sa.Integer(), primary_key=True, autoincrement=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("head", sa.Integer()),
        sa.Column("next_id", sa.Integer(), nullable=False),
        sa.Column("content", sa.Text(), nullable=False),
    )
    op.create_table(
        "taught_changes",
        sa.Column("id", sa.Integer(), primary_key=True),
        sa.Column("parent", sa.Integer(), index=True),
        sa.Column("utc", sa.Text(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("words", sa.Text(), nullable=False),
        sa.Column("sequences", sa.JSON(), nullable=False),
        sa.Column("steps", sa.Text(), nullable=False),
    )
