"""Holding: the permit is lowered, or the start withdrawn, until every joint is known to rest."""

from coordinator.codes.level import Level
from coordinator.core.joint_words import why_held
from coordinator.core.link.link import JointLink
from coordinator.core.run.context import Context
from coordinator.core.run.motion import BY_ITSELF, Motion
from coordinator.core.run.phase import DriveFields, RunPhase
from coordinator.core.run.phases import Phase
from coordinator.core.run.rest import Rest
from coordinator.core.run.start import Start
from coordinator.core.run.turns import AfterRest, Ending, PartDone, Rested, Turn
from protocol.drive import Mode, Plan
from protocol.messages import Held as HeldEvent


class Holding(RunPhase):
    """One hold, whatever it came from. `then` is what follows the rest."""

    phase = Phase.HOLDING
    may_stray = True

    def __init__(
        self,
        context: Context,
        now: int,
        cause: str,
        then: AfterRest,
        start: Start | None,
        motion: Motion | None,
    ) -> None:
        super().__init__(context, now)
        self._cause = cause
        self._then = then
        self._start = start
        self._motion = motion
        self._rest = Rest(context.links, motion, context.booted, context.ramp, now)
        self._withdrawal: Plan | None = None
        """In place of a start that not all have confirmed."""
        if motion is not None:
            motion.hold(now)
            context.rate_ppm = motion.wanted_ppm
        else:
            stand_us = start.plan.stand_us if start is not None else 0
            plan_number = context.outbox.plan_number()
            self._withdrawal = Plan(plan_number, context.trajectory, stand_us)
        context.outbox.note(now, Level.ATTENTION, "holding", f"holding: {cause}", detail=True)

    @property
    def cause(self) -> str:
        return self._cause

    @property
    def start(self) -> Start | None:
        return self._start

    @property
    def motion(self) -> Motion | None:
        return self._motion

    @property
    def ending(self) -> Ending | None:
        return self._then if isinstance(self._then, Ending) else None

    def step(self, now: int) -> Turn | None:
        if self.context.at_end:
            return PartDone(self._cause)
        if self._motion is not None:
            self._motion.keep_level(now)
        if self._rest.reached(now):
            return Rested(self._rest.places(now), self._motion is not None, self._then)
        return None

    def drive_fields(self, now: int) -> DriveFields:
        if self._motion is not None:
            return Mode.PATH, self._motion.plan, self._motion.permit.offer_us, None
        return Mode.PATH, self._withdrawal, None, None

    def next_deadline(self) -> int | None:
        return self._rest.next_deadline()

    def hold(self, cause: str, now: int) -> Turn | None:
        return None

    def end_at_rest(self, ending: Ending, cause: str, now: int) -> Turn | None:
        self._then = ending
        return None

    def joint_held(self, link: JointLink, event: HeldEvent) -> None:
        """A joint tells why it came to rest by itself."""
        if self._cause == f"{link.name} {BY_ITSELF}":
            self._cause = f"{self._cause}: {why_held(event)}"
