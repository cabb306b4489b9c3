"""Blended programs against the time-optimal bound on their own path, and how they use tolerance and
limits.

The bound is that of TOPP-RA (Pham & Pham, T-RO 2018) under the same limits of velocity and
acceleration, without one of jerk: no plan that keeps the jerk limit too can reach it.
"""

from dataclasses import dataclass, replace
from itertools import pairwise
from random import Random

import numpy as np
import toppra
from toppra.algorithm import TOPPRA
from toppra.constraint import JointAccelerationConstraint, JointVelocityConstraint

from coordinator.config.arm import Arm
from protocol.constants import ACCELERATION_SHARE
from protocol.points import Point
from protocol.segments import peaks, rounding_allowance
from tests.bench.figures import percentile, show
from tests.bench.in_virtual_time import shared_out
from tests.coordinator.motion.blending.paths import ARM, Angles, furthest, planned

APART_DEG = 0.2
"""Places that are nearer along the path say less of its bends than of rounding to counts."""
SCALE_DEG = 50.0
"""Of the path's parameter, so that its rate is near 1; near 100 the solver at times finds none."""
TOLERANCES_DEG = (0.2, 0.5, 1.0, 2.0, 5.0)
SIZES_DEG = (5.0, 20.0, 60.0)


@dataclass(frozen=True)
class Judged:
    """One program."""

    ratio: float
    """Its duration by the bound."""
    strays: float
    """By the tolerance: from its lines, or its corners from it."""
    velocity: float
    acceleration: float
    """Largest use of a joint's limit beyond what rounding to counts can add."""


def program_of(random: Random, size_deg: float, tolerance_deg: float) -> str:
    """A program of 5 to 200 moves between angles in a range, each of some of the joints."""
    lines = [f"G64 P{tolerance_deg}"]
    for _ in range(random.randint(5, 200)):
        words = "".join(
            f" {letter}{random.uniform(-size_deg, size_deg):.3f}"
            for letter in ARM.words
            if random.random() < 0.6
        )
        lines.append(f"G0{words or ' A0'}")
    return "\n".join(lines)


def judged(text: str, tolerance_deg: float, arm: Arm) -> Judged:
    """How well a program of one part is planned."""
    found = planned(text, arm)
    velocity, acceleration = _use(found.columns, arm)
    path = found.path()
    strays = max(furthest(path, found.corners), furthest(found.corners, path)) / tolerance_deg
    return Judged(found.duration_s / bound_s(path, arm), strays, velocity, acceleration)


def bound_s(path: Angles, arm: Arm) -> float:
    """The least time along a path under limits of velocity and acceleration."""
    steps = np.linalg.norm(np.diff(path, axis=0), axis=1) / SCALE_DEG
    ways = np.concatenate([[0.0], np.cumsum(steps)])
    kept = [0]
    for k, way in enumerate(ways):
        if way - ways[kept[-1]] >= APART_DEG / SCALE_DEG:
            kept.append(k)
    kept[-1] = len(ways) - 1
    limits = [(joint.velocity_deg_s, joint.acceleration_deg_s2) for joint in arm.joints]
    velocity = np.array([[-v, v] for v, _ in limits])
    acceleration = np.array([[-a, a] for _, a in limits]) * ACCELERATION_SHARE
    # "several times denser than the waypoints" (facts.md)
    grid = np.linspace(0.0, ways[kept[-1]], 4 * len(kept) + 1)
    task = TOPPRA(
        [JointVelocityConstraint(velocity), JointAccelerationConstraint(acceleration)],
        toppra.SplineInterpolator(ways[kept], path[kept]),
        gridpoints=grid,
        solver_wrapper="seidel",
        parametrizer="ParametrizeConstAccel",
    )
    return float(task.compute_trajectory(0, 0).duration)


def _use(columns: list[tuple[Point, ...]], arm: Arm) -> tuple[float, float]:
    velocity = acceleration = 0.0
    for k, joint in enumerate(arm.joints):
        scale = abs(joint.counts_per_degree)
        for before, after in pairwise(columns):
            fast, hard = peaks(before[k], after[k])
            more_fast, more_hard = rounding_allowance(before[k], after[k])
            velocity = max(velocity, (fast - more_fast) / scale / joint.velocity_deg_s)
            share = (hard - more_hard) / scale / joint.acceleration_deg_s2
            acceleration = max(acceleration, share / ACCELERATION_SHARE)
    return velocity, acceleration


def one(seed: int) -> tuple[float, float, Judged]:
    """A random program: its tolerance, the size of its moves, how it is planned."""
    random = Random(seed)
    tolerance, size = random.choice(TOLERANCES_DEG), random.choice(SIZES_DEG)
    arm = replace(ARM, blend_tolerance_deg=max(TOLERANCES_DEG))
    return tolerance, size, judged(program_of(random, size, tolerance), tolerance, arm)


def table(count: int, seed: int, processes: int) -> list[str]:
    """The table over so many random programs; gives what exceeded a limit or its tolerance."""
    seeds = range(seed * 1_000_000, seed * 1_000_000 + count)
    found = [told for _, told in shared_out(one, seeds, processes, "programs in G64")]
    if not found:
        return []
    everything = [judged for _, _, judged in found]
    rows: list[tuple[object, ...]] = []
    for name, values, which in (("tolerance", TOLERANCES_DEG, 0), ("angles to ±", SIZES_DEG, 1)):
        for value in values:
            some = [told[2] for told in found if told[which] == value]
            if some:
                rows.append((f"{name} {value:g}°", *_row(some)))
    show(
        f"{len(found)} random programs of 5 to 200 moves in G64: duration by the bound of TOPP-RA "
        "on the same path (no jerk limit there); worst use beyond rounding to counts",
        (
            "", "programs", "ratio p50", "p95", "worst", "worst straying by tolerance",
            "worst velocity by limit", "worst acceleration by its share",
        ),
        [*rows, ("all", *_row(everything))],
    )  # fmt: skip
    return [
        f"a plan uses {most:.4f} of what it may"
        for plan in everything
        if (most := max(plan.strays, plan.velocity, plan.acceleration)) > 1.001
    ]


def _row(some: list[Judged]) -> tuple[object, ...]:
    ratios = [one.ratio for one in some]
    return (
        len(some),
        *(f"{percentile(ratios, p):.3f}" for p in (50, 95, 100)),
        *(
            f"{max(figures):.3f}"
            for figures in zip(*((o.strays, o.velocity, o.acceleration) for o in some), strict=True)
        ),
    )
