"""A joint's history as a table (RFC 4180): a line for each stretch, with nothing between two commas
where nothing is known.
"""

import csv
import io
from typing import Final

from coordinator.answers.joint_history import JointHistory, Readings
from coordinator.history.quantities import GAUGES
from coordinator.store.utc import utc_of

COUNTS: Final = ("on_s", "moving_s", "starts", "reversals", "distance_deg")
_PARTS: Final = ("min", "mean", "max")
HEAD: Final = (
    "utc", "stretch_s", *(f"{gauge.name}_{part}" for gauge in GAUGES for part in _PARTS), *COUNTS
)  # fmt: skip


def history_csv(history: JointHistory) -> str:
    """The table with its head."""
    text = io.StringIO()
    lines = csv.writer(text)
    lines.writerow(HEAD)
    readings: list[Readings] = [getattr(history, gauge.name) for gauge in GAUGES]
    columns = [getattr(one, part) for one in readings for part in _PARTS]
    columns += [getattr(history, count) for count in COUNTS]
    for place, start_s in enumerate(history.start_s):
        values = (column[place] for column in columns)
        lines.writerow((utc_of(start_s), history.stretch_s, *values))
    return text.getvalue()
