"""Looks, while home edges are checked between two loops, whether each sensor switches as it should.

The joint itself compares where an edge is passed with its last homing, and stops the arm where
that differs. What it cannot notice is that no edge came: an axis far astray, or a sensor that is
dead. That is seen here, by the sensor's level in its statuses.
"""

from collections.abc import Iterable, Sequence

from coordinator.codes.refusal import RefusalCode
from coordinator.core.events import Refused
from coordinator.core.link.link import JointLink
from coordinator.motion.edges import EdgeCheck
from coordinator.motion.feeding import PlayedPart


def require_edges(parts: Iterable[PlayedPart], links: Sequence[JointLink]) -> None:
    """Raise Refused where a joint whose edge is to be checked does not tell its sensor's level."""
    for index in sorted({check.joint for one in parts for check in one.edges}):
        link = links[index]
        if link.status is None or link.status.home_sensor is None:
            raise Refused(
                RefusalCode.EDGES,
                f"the edge of {link.name} cannot be checked: it does not tell the level of its "
                "home sensor",
            )


class EdgeWatch:
    """The check of one pause between loops."""

    def __init__(
        self, checks: Sequence[EdgeCheck], links: Sequence[JointLink], trajectory: int
    ) -> None:
        self._checks = checks
        self._links = links
        self._trajectory = trajectory
        self._seen: dict[str, set[bool]] = {links[check.joint].name: set() for check in checks}

    def step(self) -> str | None:
        """Look at the newest statuses; a sentence where the arm must stop."""
        for check in self._checks:
            link = self._links[check.joint]
            status = link.status
            if status is None or status.trajectory != self._trajectory:
                continue
            expected, level = check.expected(status.position), status.home_sensor
            if expected is None or level is None:
                continue
            if level is not expected:
                degrees = link.joint.to_degrees(status.position)
                link.doubt = (
                    f"its home sensor is {'on' if level else 'off'} at {degrees:.2f}°, where the "
                    f"last homing found it {'off' if level else 'on'}: steps were lost, or the "
                    "sensor is broken"
                )
                return f"{link.name}: {link.doubt}"
            self._seen[link.name].add(level)
        return None

    @property
    def passed(self) -> tuple[str, ...]:
        """Joints whose sensors were seen on in the middle and off outside."""
        return tuple(name for name, seen in self._seen.items() if len(seen) == 2)

    @property
    def unconfirmed(self) -> tuple[str, ...]:
        """Joints of which no status came where it would have told."""
        return tuple(name for name, seen in self._seen.items() if len(seen) < 2)
