"""The clock maps issued to one joint, and whether its clock can be set right while it moves.

A joint at rest takes a new map at once. In motion it bleeds the difference off by 200 ppm, and
where more than `REMAINDER_LIMIT_US` is left it falls to rest by itself: alone, while the others go
on. That must not come to pass, so a map that differs by so much is kept back until the joint rests.
Delays that were longer one way than the other, and are not any more, do that to an estimate; what
the guarantee says was true all along.
"""

from typing import Final

from coordinator.timing.clock import JointClock
from protocol.clockmap import ClockMap
from protocol.constants import REMAINDER_LIMIT_US
from protocol.status import Status

MAP_INTERVAL_US: Final = 1_000_000
"""A fresh clock map every second: 100 ppm make 0.1 ms in that time, half of what slewing takes."""
MAPS_KEPT: Final = 32
"""Far more than can be under way: a joint reports the map it uses by its number."""
SHIFT_LIMIT_US: Final = REMAINDER_LIMIT_US - 1_000
"""What a joint in motion is asked to bleed off at most. The rest is for what its clock and the
estimate may do while the map is on its way."""


class ClockMaps:
    """Numbered maps of one joint's clock, newest last."""

    def __init__(self) -> None:
        self.shift_us: float | None = None
        """By how much its arm clock is ahead of the estimate, where that is too much to be bled off
        in motion; None where all is well."""
        self._maps: dict[int, ClockMap] = {}
        self._issued_us = 0
        self._number = 0

    def forget(self) -> None:
        """The clock was stepped or is another one: no map from before is true any more."""
        self._maps.clear()
        self.shift_us = None

    def used(self, number: int) -> ClockMap | None:
        """The map of a number, None where it is not known any more."""
        return self._maps.get(number)

    @property
    def newest(self) -> ClockMap | None:
        """The map that was issued last."""
        return self._maps.get(self._number)

    def to_send(
        self, clock: JointClock, status: Status | None, now: int, *, at_rest: bool
    ) -> ClockMap | None:
        """The map for the drive that is sent now: a fresh one at intervals, where it may be taken.

        None before the clock is locked. `at_rest` says that the joint surely rests and has no start
        pending, so that its clock may jump.
        """
        if not clock.locked:
            return None
        if not self._maps or now - self._issued_us >= MAP_INTERVAL_US:
            fresh = clock.make_map(self._number + 1, now)
            shift_us = self._shift_us(fresh, status, now)
            if at_rest or not self._maps or abs(shift_us) <= SHIFT_LIMIT_US:
                self.shift_us = None
                self._number += 1
                self._issued_us = now
                self._maps[self._number] = fresh
                while len(self._maps) > MAPS_KEPT:
                    del self._maps[next(iter(self._maps))]
            else:
                self.shift_us = shift_us
        return self._maps[self._number]

    def _shift_us(self, fresh: ClockMap, status: Status | None, now: int) -> float:
        """The joint's arm clock minus the estimate, by the map that it said it uses."""
        used = self._maps.get(status.map_number) if status is not None else None
        if used is None or status is None:
            return 0.0  # it goes by none of this clock: it has nothing to bleed off
        return used.to_arm(fresh.joint_us) + status.remainder_us - now
