"""Moving: all joints together, as long as every one of them is heard and trusted."""

from coordinator.core.link.link import LOST_AFTER_US
from coordinator.core.run.context import Context
from coordinator.core.run.motion import Motion
from coordinator.core.run.phase import DriveFields, RunPhase
from coordinator.core.run.phases import Phase
from coordinator.core.run.start import Start
from coordinator.core.run.trouble import conflict
from coordinator.core.run.turns import Ending, HoldFor, PartDone, Turn
from coordinator.core.skew import shifted, too_wide
from protocol.drive import Mode


class Moving(RunPhase):
    """From a confirmed start to the next hold, or to the last point."""

    phase = Phase.MOVING
    may_stray = True

    def __init__(self, context: Context, now: int, start: Start) -> None:
        super().__init__(context, now)
        self._motion = Motion(
            start, context.links, context.ramp, context.point_feed, context.outbox
        )
        assert start.record is not None
        start.record.part = context.part + 1
        context.report.began(start.record)
        context.report.goes_at(self._motion.rate_ppm, start.record.at_us)
        if context.rate_ppm != self._motion.rate_ppm:
            # Asked for while the start was on its way.
            self._motion.override(context.rate_ppm)
        self._began = start

    @property
    def start(self) -> Start:
        return self._began

    @property
    def motion(self) -> Motion:
        return self._motion

    def step(self, now: int) -> Turn | None:
        context = self.context
        if context.at_end:
            return PartDone()
        trouble = self._trouble(now)
        if trouble is not None:
            return HoldFor(trouble)
        levelling = self._motion.step(now)
        # One that was withdrawn is wanted no more: it must not come into force with the next start.
        context.rate_ppm = self._motion.wanted_ppm
        context.report.goes_at(self._motion.rate_ppm, now)
        return HoldFor(levelling) if levelling is not None else None

    def _trouble(self, now: int) -> str | None:
        """Why the joints must come to rest together, if they must."""
        context = self.context
        twice = conflict(context.links)
        if twice is not None:
            return twice
        for link in context.links:
            if not link.heard(now):
                self._motion.permit.level()
                return f"{link.name} was not heard for 1 s"
            if not link.clock.locked:
                return f"{link.name}: {link.clock.reason}"
        return shifted(context.links) or too_wide(context.links, context.skew_limit_us, now)

    def drive_fields(self, now: int) -> DriveFields:
        return Mode.PATH, self._motion.plan, self._motion.permit.offer_us, None

    def next_deadline(self) -> int | None:
        due_us = self._motion.next_deadline()
        for link in self.context.links:
            if link.heard_us is not None:
                lost_us = link.heard_us + LOST_AFTER_US + 1
                due_us = lost_us if due_us is None else min(due_us, lost_us)
        return due_us

    def hold(self, cause: str, now: int) -> Turn | None:
        return HoldFor(cause)

    def end_at_rest(self, ending: Ending, cause: str, now: int) -> Turn | None:
        return HoldFor(cause, ending)

    def override(self, rate_ppm: int) -> None:
        self._motion.override(rate_ppm)
