"""When warnings began by the time of day, for people."""

from dataclasses import replace

from coordinator.core.snapshot.arm import ArmSnapshot
from coordinator.store.utc import utc_ago


class WarningTimes:
    """Works it out once for each warning, so that what is shown does not flicker."""

    def __init__(self) -> None:
        self._utc: dict[int, str] = {}

    def added_to(self, arm: ArmSnapshot) -> ArmSnapshot:
        """The arm, `since_utc` with all warnings that stand."""
        before = self._utc
        self._utc = {
            one.id: before.get(one.id) or utc_ago(arm.now_us - one.since_us) for one in arm.warnings
        }
        warnings = tuple(replace(one, since_utc=self._utc[one.id]) for one in arm.warnings)
        return replace(arm, warnings=warnings)
