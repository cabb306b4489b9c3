"""Where the joints are planned to be: in the next seconds, for people who watch, and now."""

from dataclasses import dataclass
from typing import Final

from coordinator.core.link.link import JointLink
from coordinator.core.run import Phase, Run
from protocol.constants import US
from protocol.states import JointState

STEP_US: Final = 200_000
AHEAD_US: Final = 3 * US
_ON_PATH: Final = (JointState.MOVING, JointState.RAMPING)


@dataclass(frozen=True, slots=True)
class Preview:
    """Planned angles by joint."""

    at_us: int
    """Arm time of the first."""
    step_us: int
    """From one to the next."""
    deg: dict[str, tuple[float, ...]]
    """In degrees."""


def preview(run: Run | None, now: int) -> Preview | None:
    """Planned angles from `now` on.

    None where nothing is set to move along a path. The list ends early where points have not been
    made yet; after the last point it stays there.
    """
    if run is None or run.course is None or run.phase not in (Phase.STARTING, Phase.MOVING):
        return None
    times_us = [run.course.at(at)[0] for at in range(now, now + AHEAD_US + 1, STEP_US)]
    deg = {}
    for k, link in enumerate(run.links):
        angles: list[float] = []
        for path_us in times_us:
            counts = run.point_feed.planned_at(path_us, k)
            if counts is None:
                break
            angles.append(round(link.joint.to_degrees(counts), 2))
        deg[link.name] = tuple(angles)
    return Preview(now, STEP_US, deg)


def planned_position(run: Run | None, link: JointLink) -> int | None:
    """Where its plan has a joint at the path time that its last status tells, in counts.

    None where it does not move along the path then, or where that was too long ago to be known.
    """
    status = link.status
    if run is None or status is None or status.state not in _ON_PATH:
        return None
    if status.trajectory != run.point_feed.trajectory:
        return None
    return run.point_feed.planned_at(status.path_us, link.index)
