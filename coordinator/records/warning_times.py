"""When warnings began and shelves end by the time of day, for people."""

from dataclasses import replace

from coordinator.core.snapshot.arm import ArmSnapshot
from coordinator.store.utc import utc_ago


class WarningTimes:
    """Works each out once, so that what is shown does not flicker."""

    def __init__(self) -> None:
        self._utc: dict[tuple[str, int, int], str] = {}

    def added_to(self, arm: ArmSnapshot) -> ArmSnapshot:
        """The arm, `since_utc` with all warnings and `until_utc` with all shelves."""
        before, self._utc = self._utc, {}

        def utc(kind: str, number: int, at_us: int) -> str:
            key = kind, number, at_us
            self._utc[key] = before.get(key) or utc_ago(arm.now_us - at_us)
            return self._utc[key]

        warnings = tuple(
            replace(one, since_utc=utc("since", one.id, one.since_us)) for one in arm.warnings
        )
        alarms = arm.alarms
        if alarms is not None:
            returned = (
                replace(one, since_utc=utc("since", one.id, one.since_us))
                for one in alarms.returned
            )
            shelved = (
                replace(one, until_utc=utc("until", one.id, one.until_us)) for one in alarms.shelved
            )
            alarms = replace(alarms, returned=tuple(returned), shelved=tuple(shelved))
        return replace(arm, warnings=warnings, alarms=alarms)
