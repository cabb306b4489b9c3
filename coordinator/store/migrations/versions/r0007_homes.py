"""What homings tell beside the edges: how far home had wandered, and what that may depend on."""

import json

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"

_UNKNOWN = dict.fromkeys(("shift_deg", "temperature_c", "controller", "figures", "wandered_deg"))


def upgrade() -> None:
    """Say of homings from before that none of it is known."""
    homings = sa.table("homings", sa.column("number", sa.Integer), sa.column("result", sa.Text))
    connection = op.get_bind()
    rows = connection.execute(sa.select(homings.c.number, homings.c.result)).all()
    for number, text in rows:
        told = _with_unknown(text)
        if told is not None:
            connection.execute(
                homings.update().where(homings.c.number == number).values(result=told)
            )


def _with_unknown(text: str) -> str | None:
    """The row's text anew, None where it is no homing, which is left as it is."""
    try:
        result = json.loads(text)
        joints = {name: {**found, **_UNKNOWN} for name, found in result["joints"].items()}
    except (ValueError, RecursionError, TypeError, KeyError, AttributeError):
        return None
    return json.dumps({**result, "joints": joints})
