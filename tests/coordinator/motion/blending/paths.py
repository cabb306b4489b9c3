"""What a planned path truly does, from the points that the joints would get."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from coordinator.config.arm import Arm, load_arm
from coordinator.motion import PlannedMove, plan_parts
from coordinator.programs import parse_program
from protocol.constants import US
from protocol.points import Point
from protocol.segments import check_segment, hermite

ARM = load_arm(Path(__file__).parents[4] / "coordinator" / "demo" / "arm.toml")
Angles = NDArray[np.float64]
FINENESS = 8
"""Places that are looked at between two points."""


@dataclass(frozen=True)
class Planned:
    """A program without pauses, planned from where all joints are at 0."""

    arm: Arm
    moves: list[PlannedMove]
    columns: list[tuple[Point, ...]]
    corners: Angles
    """Where the program's moves begin and end, in degrees."""

    @property
    def duration_s(self) -> float:
        return self.columns[-1][0].time_us / US

    def path(self) -> Angles:
        """Angles along the path, closely."""
        scale = np.array([joint.counts_per_degree for joint in self.arm.joints])
        found = [np.array([point.position for point in self.columns[0]]) / scale]
        for before, after in pairwise(self.columns):
            begin_us, end_us = before[0].time_us, after[0].time_us
            for k in range(1, FINENESS + 1):
                at_us = begin_us + (end_us - begin_us) * k / FINENESS
                at = [hermite(a, b, at_us)[0] for a, b in zip(before, after, strict=True)]
                found.append(np.array(at) / scale)
        return np.array(found)

    def refused(self) -> list[str]:
        """What joints would refuse."""
        found = []
        for k, joint in enumerate(self.arm.joints):
            scale = abs(joint.counts_per_degree)
            for before, after in pairwise(self.columns):
                why = check_segment(
                    before[k], after[k], joint.velocity_deg_s * scale,
                    joint.acceleration_deg_s2 * scale,
                )  # fmt: skip
                if why is not None:
                    found.append(f"{joint.name}: {why}")
        return found

    def jerk_excess(self) -> float:
        """The largest jerk by its limit, without what rounding to counts can add."""
        worst = 0.0
        for k, joint in enumerate(self.arm.joints):
            limit = joint.jerk_deg_s3 * abs(joint.counts_per_degree)
            for before, after in pairwise(self.columns):
                a, b = before[k], after[k]
                h = (b.time_us - a.time_us) / US
                jerk = 6.0 * (a.velocity + b.velocity - 2.0 * (b.position - a.position) / h) / h**2
                # Half a count at either position and half a count/s at either velocity.
                rounding = 6.0 * (1.0 + 2.0 / h) / h**2
                worst = max(worst, (abs(jerk) - rounding) / limit)
        return worst


def planned(text: str, arm: Arm = ARM) -> Planned:
    program = parse_program(text + "\nM2", arm.letters)
    (part,) = plan_parts(program, arm, [0] * len(arm.joints))
    moves = list(part.moves())
    columns = [part.first_points()]
    for move in moves:
        columns += zip(*move.points, strict=True)
    corners = [[0.0] * len(arm.joints), *(move.target_deg for move in moves)]
    return Planned(arm, moves, columns, np.array(corners))


def furthest(places: Angles, lines: Angles) -> float:
    """The largest distance of places from the nearest of the lines that join one row to the
    next.
    """
    return max(_nearest(place, lines) for place in places)


def _nearest(place: Angles, lines: Angles) -> float:
    begins, ways = lines[:-1], np.diff(lines, axis=0)
    squares = np.maximum(np.einsum("ij,ij->i", ways, ways), 1e-300)
    shares = np.clip(np.einsum("ij,ij->i", place - begins, ways) / squares, 0.0, 1.0)
    return float(np.linalg.norm(place - begins - shares[:, None] * ways, axis=1).min())


def lines_of(targets: Sequence[Sequence[float]], head: str) -> str:
    """A program of moves to angles of the first joints."""
    return "\n".join(f"{head} {words}" for words in _words(targets))


def _words(targets: Sequence[Sequence[float]]) -> Iterator[str]:
    for target in targets:
        yield " ".join(f"{letter}{at:.6f}" for letter, at in zip(ARM.words, target, strict=False))
