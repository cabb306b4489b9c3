"""Starting: all joints from rest at one path time to moving by one rate change."""

from coordinator.codes.level import Level
from coordinator.core.run.context import Context, LatestStart
from coordinator.core.run.phase import DriveFields, RunPhase
from coordinator.core.run.phases import Phase
from coordinator.core.run.start import Stage, Start
from coordinator.core.run.trouble import conflict
from coordinator.core.run.turns import (
    Confirmed,
    Ending,
    HoldFor,
    PartDone,
    RefusedUnlessMoved,
    Turn,
)
from protocol.drive import Mode


class Starting(RunPhase):
    """Until all have confirmed the start, or it is known that they will not."""

    phase = Phase.STARTING
    may_stray = True

    def __init__(self, context: Context, now: int, stand_us: int, *, advancing: bool) -> None:
        super().__init__(context, now)
        self._start = Start(
            context.trajectory,
            stand_us,
            context.rate_ppm,
            context.links,
            context.ramp,
            context.skew_limit_us,
            context.outbox,
            now,
            advancing=advancing,
        )
        context.latest = LatestStart(stand_us, self._start.plan.number)

    @property
    def start(self) -> Start:
        return self._start

    def step(self, now: int) -> Turn | None:
        context, start = self.context, self._start
        twice = conflict(context.links)
        if twice is not None:
            return HoldFor(twice)
        before = start.stage
        start.step(now)
        if start.stage is not before:
            context.outbox.at_once = True
        match start.stage:
            case Stage.CONFIRMED:
                return Confirmed(start)
            case Stage.AT_END:
                return PartDone()
            case Stage.PARTIAL:
                context.count_partial()
                context.outbox.note(
                    now, Level.ATTENTION, "partial-start", start.message, detail=True
                )
                return HoldFor(start.message)
            case Stage.REFUSED:
                context.outbox.note(
                    now, Level.ATTENTION, "start-refused", start.message, detail=True
                )
                # A withdrawal may be lost too: whoever began alone all the same must rest first.
                is_first = not context.report.starts
                return HoldFor(
                    start.message, RefusedUnlessMoved(start.message) if is_first else None
                )
        return None

    def drive_fields(self, now: int) -> DriveFields:
        start = self._start
        return Mode.PATH, start.plan, start.permit_us, start.expiry_us(now)

    def next_deadline(self) -> int | None:
        return self._start.next_deadline()

    def hold(self, cause: str, now: int) -> Turn | None:
        return HoldFor(cause)

    def end_at_rest(self, ending: Ending, cause: str, now: int) -> Turn | None:
        return HoldFor(cause, ending)
