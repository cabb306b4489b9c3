"""What every phase of a run can be asked. Each owns what belongs to it and to no other."""

from typing import ClassVar, Final

from coordinator.codes.refusal import RefusalCode
from coordinator.core.events import Refused
from coordinator.core.link.link import JointLink
from coordinator.core.run.context import Context
from coordinator.core.run.motion import Motion
from coordinator.core.run.phases import Phase
from coordinator.core.run.start import Start
from coordinator.core.run.turns import Ending, GiveUp, Turn
from coordinator.motion.outputs import Awaited
from protocol.drive import Mode, Plan
from protocol.pathtime import Course

DriveFields = tuple[Mode, Plan | None, int | None, int | None]
"""Mode, plan, permit and expiry for every joint's next drive."""
NOTHING: Final[DriveFields] = (Mode.NONE, None, None, None)


class RunPhase:
    """A phase that began at `now`. Most of what can be asked does nothing in most phases."""

    phase: ClassVar[Phase]
    holds_points = True
    """Whether the part's points are fed."""
    steps = True
    """Whether time brings it on."""
    may_stray = False
    """Whether a joint that has a fault or left the path stops the arm."""

    def __init__(self, context: Context, now: int) -> None:
        self.context = context
        self.since_us = now

    def step(self, now: int) -> Turn | None:
        """Look at what is known; what is next, if anything."""
        return None

    def drive_fields(self, now: int) -> DriveFields:
        """What every joint's next drive carries."""
        return NOTHING

    def next_deadline(self) -> int | None:
        """The next instant at which `step` would do something by itself."""
        return None

    def hold(self, cause: str, now: int) -> Turn | None:
        """Come to rest on the path, or do not start. Raises Refused where nothing can be held."""
        raise Refused(
            RefusalCode.NOTHING_MOVES, f"run {self.context.number} is {self.phase}, not moving"
        )

    def resume(self, now: int) -> Turn | None:
        """Go on from a hold or a pause. Raises Refused."""
        raise Refused(
            RefusalCode.NOT_HELD, f"run {self.context.number} is {self.phase}, not held or paused"
        )

    def end_at_rest(self, ending: Ending, cause: str, now: int) -> Turn | None:
        """End the run, after a hold where it moves or may start."""
        return GiveUp(ending)

    def override(self, rate_ppm: int) -> None:
        """Another feed override is wanted; from the next start on, where nothing moves."""

    def rebooted(self, link: JointLink) -> None:
        """A joint has restarted."""

    def relinked(self, link: JointLink, now: int) -> None:
        """A joint's stream was opened anew, and it has what it needs of this run."""

    @property
    def ending(self) -> Ending | None:
        """With what the run ends once its joints rest."""
        return None

    @property
    def cause(self) -> str:
        """Why it holds, or is held."""
        return ""

    @property
    def awaited(self) -> Awaited | None:
        """The input for which it waits, or is about to: it goes on by itself. None for none."""
        return None

    @property
    def coming(self) -> str:
        """What it does by itself though nothing moves, a clause behind the program's name.

        Empty for nothing.
        """
        return "" if self.awaited is None else self.awaited.waits

    @property
    def unconfirmed(self) -> tuple[str, ...]:
        """Joints of which people were told that they have not confirmed that they rest."""
        return ()

    @property
    def start(self) -> Start | None:
        """The start under way."""
        return None

    @property
    def motion(self) -> Motion | None:
        """By what the joints move."""
        return None

    @property
    def course(self) -> Course | None:
        """The law by which the arm moves, or will once the start is confirmed."""
        if self.motion is not None:
            return self.motion.course
        return self.start.course if self.start is not None else None


class BeforeMotion(RunPhase):
    """A phase in which there is nothing to hold yet: a hold that is asked for is kept for later."""

    def __init__(self, context: Context, now: int, *, holds: str = "") -> None:
        super().__init__(context, now)
        self.holds = holds
        """Why a hold was asked for; empty if none was."""

    def hold(self, cause: str, now: int) -> Turn | None:
        self.holds = cause
        return None

    def resume(self, now: int) -> Turn | None:
        if not self.holds:
            return super().resume(now)
        self.holds = ""
        return None
