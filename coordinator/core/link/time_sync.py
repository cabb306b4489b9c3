"""One joint's clock as the coordinator knows it, and the maps of it that the joint was sent."""

from coordinator.core.clock_maps import ClockMaps
from coordinator.health.lopsided import Ways
from coordinator.timing.clock import JointClock
from coordinator.timing.exchange import Exchange
from protocol.clockmap import ClockMap
from protocol.status import Status


class TimeSync:
    """What exchanges tell of one joint's clock."""

    def __init__(self) -> None:
        self.clock = JointClock()
        self.clock_epoch = 0
        """Grows whenever joint times from before mean nothing any more."""
        self._maps = ClockMaps()
        self._exchange: Exchange | None = None
        """The last one."""

    def renew(self) -> None:
        """The clock is another one: the joint restarted, or the session is new."""
        self.clock = JointClock()
        self._forget_maps()

    def observe(self, exchange: Exchange, now: int) -> int | None:
        """Take in an exchange. Where it shows that the clock was wrong: since which clock epoch.

        One contradiction does not tell when a clock went astray, nor whether by a step or by its
        crystal, so nothing is believed that it said since it was found. A crystal that is out of
        tolerance is the same one in all boots.
        """
        self._exchange = exchange
        if self.clock.observe(exchange, now):
            return None
        since = 0 if self.clock.out_of_tolerance(now) else self.clock_epoch
        self._forget_maps()
        return since

    def ways(self, now: int) -> Ways | None:
        """How long both ways of the last exchange took, as far as the clock is known."""
        offset_us = self.clock.offset_us(now)
        if offset_us is None or self._exchange is None:
            return None
        upper_us, lower_us = self._exchange.upper_us, self._exchange.lower_us
        return Ways(max(0.0, upper_us - offset_us), max(0.0, offset_us - lower_us))

    def clock_map(self, status: Status | None, now: int, *, at_rest: bool) -> ClockMap | None:
        """The map for the drive that is sent now; `at_rest` says that the joint surely rests."""
        return self._maps.to_send(self.clock, status, now, at_rest=at_rest)

    def uncertainty_us(self, status: Status | None, now: int) -> float | None:
        """Clock error bound of the map that the joint uses by its status, None where it has none
        that is known.
        """
        if status is None or not self.clock.locked:
            return None
        used = self._maps.used(status.map_number)
        if used is None:
            return None
        return self.clock.uncertainty_us(used, status.remainder_us, now)

    def expiry_error_us(self, status: Status | None, now: int) -> float | None:
        """By how much a permission to move may end late or early by the joint's clock: as far as is
        known of the map that it uses and of the one that is sent along, which it takes at once
        where it rests. None while the clock is not trusted.
        """
        if not self.clock.locked:
            return None
        newest = self._maps.newest or self.clock.make_map(0, now)
        sent_us = self.clock.uncertainty_us(newest, 0, now)
        return max(sent_us, self.uncertainty_us(status, now) or 0.0)

    @property
    def shift_us(self) -> float | None:
        """By how much the joint's arm clock is ahead of the estimate, where that is too much to be
        bled off in motion; None where all is well.
        """
        return self._maps.shift_us

    def _forget_maps(self) -> None:
        """The clock was stepped or is another one: no map from before is true any more."""
        self._maps.forget()
        self.clock_epoch += 1
