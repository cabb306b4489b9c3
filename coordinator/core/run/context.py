"""What lasts through all phases of a run."""

from dataclasses import dataclass, field

from coordinator.core.events import Play
from coordinator.core.link.link import JointLink
from coordinator.core.outbox import Outbox
from coordinator.core.run.point_feed import PointFeed
from coordinator.core.run.report import Report
from coordinator.motion.feeding import PlayedPart
from coordinator.motion.outputs import Switch
from protocol.constants import RATE_MAX_PPM
from protocol.ramp import Ramp


@dataclass(slots=True)
class LatestStart:
    """The newest start, whatever became of it."""

    stand_us: int
    """Path time from which the joints were to begin."""
    first_plan: int
    """Number of its first plan."""
    is_partial: bool = False
    """Whether it is known that some joints began by it alone."""


@dataclass(slots=True)
class Context:
    """One run: its program, its joints, its report, and which part is played."""

    number: int
    play: Play
    links: list[JointLink]
    ramp: Ramp
    skew_limit_us: float
    outbox: Outbox
    report: Report
    point_feed: PointFeed
    """Of the part that is played."""
    trajectory: int
    """Its number."""
    part: int = 0
    """Index of the part that is played."""
    rate_ppm: int = RATE_MAX_PPM
    """Feed override that the operator wants."""
    booted: set[str] = field(default_factory=set)
    """Joints that have restarted since the run began."""
    latest: LatestStart | None = None
    switched: dict[str, Switch] = field(default_factory=dict)
    """The last switch of each output in the parts before."""

    def switched_by(self, path_us: float) -> dict[str, Switch]:
        """The last switch of each output up to a path time of the part that is played."""
        return self.switched | self.point_feed.switched_by(path_us)

    @property
    def part_now(self) -> PlayedPart:
        """The part that is played."""
        part = self.play.part(self.part)
        assert part is not None
        return part

    @property
    def following(self) -> PlayedPart | None:
        """The part after it, which is played if time is left; None for none."""
        return self.play.part(self.part + 1)

    @property
    def at_end(self) -> bool:
        """Whether every joint has finished the part."""
        return all(link.finished(self.trajectory) for link in self.links)

    def count_partial(self) -> None:
        """The latest start is a partial one, counted once however many signs there are of it."""
        if self.latest is not None and not self.latest.is_partial:
            self.latest.is_partial = True
            self.report.partial()
