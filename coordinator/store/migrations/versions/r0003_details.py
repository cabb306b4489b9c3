"""Whether an event is a detail: a part of something that has a line of its own."""

from typing import Final

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"

_DETAILS: Final = (
    "holding", "homed", "joint-held", "joint-stopped", "partial-start", "start-refused",
    "start-withdrawn",
)  # fmt: skip
"""Codes that were told beside a line that says the same, all the time before."""


def upgrade() -> None:
    """Add the column, and mark what is known to be a detail."""
    op.add_column(
        "events", sa.Column("detail", sa.Boolean(), nullable=False, server_default=sa.false())
    )
    events = sa.table("events", sa.column("code", sa.Text()), sa.column("detail", sa.Boolean()))
    op.execute(sa.update(events).where(events.c.code.in_(_DETAILS)).values(detail=sa.true()))
