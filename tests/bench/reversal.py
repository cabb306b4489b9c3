"""Against reversal error: overtravel beside compensation, on joints whose play is not what was set.

Compensation is a model of what was not built: the motor is sent half of the set play further, the
way it turns; at stops as part of the move, on a circle by a ramp that begins at each reversal and
takes what the circle leaves of velocity, acceleration and jerk.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from coordinator.config.approach import Approach
from coordinator.config.arm import Arm
from coordinator.config.settings import DEMO_PROGRAM
from coordinator.motion import check_program, fastest
from protocol.constants import ACCELERATION_SHARE, US
from protocol.segments import hermite
from simulator.physics.play import Play
from tests.bench.figures import show
from tests.coordinator.motion.blending.paths import ARM, FINENESS, Angles, planned

SET_DEG = 0.2
"""What is known of the play. Printed reductions have some tenths of a degree (common practice)."""
OVERTRAVEL_DEG = 0.5
TRUE_DEG = (0.1, 0.2, 0.3)
"""What the play is in truth, as it changes with wear, warmth and angle."""
STOPS_DEG = (-60.0, -30.0, 0.0, 30.0, 60.0)
"""Each is come to from below and from above, as in the linear cycle of ISO 230-2 (from memory)."""
RADIUS_DEG, CORNERS, SPEED_DEG_S = 20.0, 180, 20.0
JOINTS = 2
STEP_S = 0.002


def with_approach(arm: Arm, joints: int, direction: int = 1) -> Arm:
    """The arm with an approach side of its first joints."""
    approach = Approach(direction, OVERTRAVEL_DEG)
    sided = [replace(joint, approach=approach) for joint in arm.joints[:joints]]
    return replace(arm, joints=(*sided, *arm.joints[joints:]))


def behind_play(motors: Angles, play_deg: float) -> Angles:
    """Outputs behind play, row by row."""
    plays = [Play(play_deg, at) for at in motors[0]]
    return np.array(
        [[one.follow(at) for one, at in zip(plays, row, strict=True)] for row in motors]
    )


def circle(laps: int) -> list[list[float]]:
    """Corners of a polygon in two joints, from 0, 0 round its centre at −radius, 0."""
    turns = [2.0 * math.pi * k / CORNERS for k in range(1, laps * CORNERS + 1)]
    return [[RADIUS_DEG * (math.cos(t) - 1.0), RADIUS_DEG * math.sin(t)] for t in turns]


def roundness(places: Angles) -> float:
    """The circular deviation of ISO 230-4 (from memory), about the centre of the least squares."""
    rows = np.column_stack([2.0 * places, np.ones(len(places))])
    x, y, _ = np.linalg.lstsq(rows, (places**2).sum(axis=1), rcond=None)[0]
    radii = np.linalg.norm(places - (x, y), axis=1)
    return float(radii.max() - radii.min())


def compensated(targets: Sequence[float], set_deg: float) -> list[float]:
    """Where the motor is sent so that the output comes to each target."""
    ways = [math.copysign(1.0, b - a) for a, b in pairwise([0.0, *targets])]
    return [target + way * set_deg / 2.0 for target, way in zip(targets, ways, strict=True)]


def ramped(motors: Angles, set_deg: float) -> Angles:
    """A motor's way round the circle with compensation added at each of its reversals."""
    used = SPEED_DEG_S**2 / RADIUS_DEG
    left = ACCELERATION_SHARE * ARM.joints[0].acceleration_deg_s2 - used
    ramp = fastest(set_deg, ARM.joints[0].velocity_deg_s, left, ARM.joints[0].jerk_deg_s3)
    found = motors.copy()
    for k in range(motors.shape[1]):
        ways = np.sign(np.diff(motors[:, k]))
        way, since = ways[np.flatnonzero(ways)[0]], math.inf
        for row, now in enumerate(ways):
            if now and now != way:
                way, since = now, 0.0
            done = ramp.at(since)[0] if since < ramp.duration_s else set_deg
            found[row, k] += way * (done - set_deg / 2.0)
            since += STEP_S
        found[-1, k] = found[-2, k]
    return found


@dataclass(frozen=True)
class Course:
    """What motors do along a program, closely."""

    times_s: Angles
    angles: Angles
    """Of the first joints, a row for each time."""
    ends: tuple[int, ...]
    """The row in which each move ends."""

    @classmethod
    def of(cls, text: str, arm: Arm) -> "Course":
        """The course of a program without pauses, from all joints at 0."""
        found = planned(text, arm)
        scale = [joint.counts_per_degree for joint in arm.joints[:JOINTS]]
        times, rows, ends, before = [0.0], [[0.0] * JOINTS], [], found.columns[0]
        for move in found.moves:
            for column in zip(*move.points, strict=True):
                begin_us, end_us = before[0].time_us, column[0].time_us
                for k in range(1, FINENESS + 1):
                    at_us = begin_us + (end_us - begin_us) * k / FINENESS
                    at = zip(before, column, scale, strict=False)
                    rows.append([hermite(a, b, at_us)[0] / per for a, b, per in at])
                    times.append(at_us / US)
                before = column
            ends.append(len(rows) - 1)
        return cls(np.array(times), np.array(rows), tuple(ends))

    def evenly(self, step_s: float) -> Angles:
        """The same angles, evenly in time."""
        even = np.arange(0.0, self.times_s[-1], step_s)
        return np.column_stack(
            [np.interp(even, self.times_s, self.angles[:, k]) for k in range(JOINTS)]
        )


def stops(arm: Arm, set_deg: float, true_deg: float) -> tuple[float, float]:
    """The reversal value of ISO 230-2 over the stops, in degrees, and the time that it takes."""
    there = [STOPS_DEG[0] - 10.0, *STOPS_DEG, STOPS_DEG[-1] + 10.0, *STOPS_DEG[::-1]]
    asked = compensated(there, set_deg)
    course = Course.of("\n".join(f"G0 A{at} B{at}" for at in asked), arm)
    stood = behind_play(course.angles, true_deg)[list(course.ends)]
    count = len(STOPS_DEG)
    up, down = stood[1 : count + 1], stood[: count + 1 : -1]
    return float(np.abs(up - down).max()), float(course.times_s[-1])


def round_about(arm: Arm, set_deg: float, true_deg: float) -> tuple[float, float]:
    """The circular deviation of the second of three laps in G64, in degrees, and the whole time."""
    head = f"G64 P0.05 F{60.0 * SPEED_DEG_S}\n"
    text = head + "\n".join(f"G1 A{a:.6f} B{b:.6f}" for a, b in circle(3))
    course = Course.of(text, arm)
    motors = course.evenly(STEP_S)
    outputs = behind_play(ramped(motors, set_deg) if set_deg else motors, true_deg)
    begin, end = (int(course.times_s[course.ends[k * CORNERS - 1]] / STEP_S) for k in (1, 2))
    return roundness(outputs[begin:end]), float(course.times_s[-1])


def table() -> list[str]:
    """The table; gives what overtravel should have done and did not."""
    over = with_approach(ARM, JOINTS)
    rows: list[tuple[object, ...]] = []
    broken = []
    for name, arm, set_deg in (
        ("nothing", ARM, 0.0), ("overtravel", over, 0.0), ("compensation", ARM, SET_DEG)
    ):  # fmt: skip
        at_stops = [stops(arm, set_deg, true) for true in (0.0, *TRUE_DEG)]
        rounds = [round_about(arm, set_deg, true) for true in (0.0, *TRUE_DEG)]
        figures = [f"{value:.3f}" for value, _ in (*at_stops, *rounds)]
        rows.append((name, *figures, f"{at_stops[0][1]:.1f} s", f"{rounds[0][1]:.1f} s"))
        if name == "overtravel" and (worst := max(value for value, _ in at_stops)) > 0.002:
            broken.append(f"overtravel leaves a reversal value of {worst:.4f}°")
    cases = ("no play", *(f"{true:g}° play" for true in TRUE_DEG))
    text = DEMO_PROGRAM.read_text()
    demo = [check_program(text, with_approach(ARM, count)).duration_s for count in (0, 2, 6)]
    columns = (f"{what}, {case}" for what in ("stops", "circle") for case in cases)
    show(
        "reversal value at stops (ISO 230-2) and circular deviation (ISO 230-4), in °, set for "
        f"{SET_DEG:g}° of play; no play: none, or a load that keeps the gear on one flank",
        ("against it", *columns, "stops take", "circle takes"),
        rows,
        f"{2 * len(STOPS_DEG) + 2} stops of two joints, {OVERTRAVEL_DEG:g}° of overtravel; circle "
        f"of {RADIUS_DEG:g}° in {CORNERS} moves, G64 P0.05, {SPEED_DEG_S:g} °/s, three laps.",
        "The demo program takes "
        + ", ".join(f"{one:.1f} s" for one in demo if one is not None)
        + " with no, two and six joints that overtravel.",
    )
    return broken
