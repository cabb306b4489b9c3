"""How far a joint says that it is from where its plan has it, from its statuses.

Each status names the path time that its joint is at and the position that it has there; the plan
has one for that path time. So neither the link's delay nor a clock has a part in it. Of steps that
were lost the joint knows nothing (docs/history.md).
"""

from typing import Final

from coordinator.config.joint import Joint
from coordinator.history.cells import Spread
from coordinator.history.quantities import GAUGES
from protocol.status import Status

NAME: Final = "position_error_deg"
PLACE: Final = next(place for place, gauge in enumerate(GAUGES) if gauge.name == NAME)
"""Among the gauges."""


class PositionErrors:
    """All errors of one joint, told in its statuses, until they are taken down."""

    def __init__(self, joint: Joint) -> None:
        self._joint = joint
        self._last: Status | None = None
        self._spread: Spread | None = None

    def take(self, status: Status, planned: int | None) -> None:
        """A status, and where the plan has the joint at its path time, in counts.

        None where it follows no plan. A status that is known already says nothing more.
        """
        if status is self._last:
            return
        self._last = status
        if planned is None:
            return
        error_deg = self._joint.to_degrees(status.position - planned)
        kept = round(error_deg * GAUGES[PLACE].per_unit)
        one = Spread(kept, kept, kept, 1)
        self._spread = one if self._spread is None else self._spread | one

    def drained(self) -> Spread | None:
        """What they were since this was asked for last, None where there was none."""
        spread, self._spread = self._spread, None
        return spread
