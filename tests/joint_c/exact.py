"""The law of motion in closed form and double precision, for whole arrays of instants at once.

Written from protocol/README.md for the tests of the joint in C, and from nothing else: what it
shares with that joint is the document. Times are µs, positions counts, rates 0 to 1.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def ramp_rows(v_over_a_s: float) -> list[tuple[int, int]]:
    """The rows that a coordinator makes for the joint with the largest v/a: µs from rest, ppm."""
    rates = [math.sqrt((1 - 0.2 ** (k / 32)) / 0.8) for k in range(32)] + [1.0]
    ppm = [math.floor(rate * 1e6) for rate in rates]
    rows = [(0, 0)]
    for before, after in pairwise(ppm):
        s = after / 1e6
        piece = (after - before) / 1e6 * v_over_a_s / (1 - 0.8 * s * s)
        rows.append((rows[-1][0] + math.ceil(piece * 1e6), after))
    return rows


class Ramp:
    def __init__(self, rows: list[tuple[int, int]]) -> None:
        self.time = np.array([row[0] for row in rows], dtype=np.float64)
        self.rate = np.array([row[1] for row in rows], dtype=np.float64) / 1e6
        pieces = np.diff(self.time) * (self.rate[1:] + self.rate[:-1]) / 2
        self.path = np.concatenate([[0.0], np.cumsum(pieces)])
        self.slope = np.diff(self.rate) / np.diff(self.time)

    def covered(self, time: Floats) -> Floats:
        """P: path from rest to a table time."""
        k = np.clip(np.searchsorted(self.time, time, side="right") - 1, 0, len(self.slope) - 1)
        t = time - self.time[k]
        return self.path[k] + t * (self.rate[k] + self.slope[k] * t / 2)

    def rate_at(self, time: Floats) -> Floats:
        return np.interp(time, self.time, self.rate)

    def time_of_rate(self, rate: float) -> float:
        return float(np.interp(rate, self.rate, self.time))

    def time_of_path(self, path: float) -> float:
        k = int(np.clip(np.searchsorted(self.path, path, side="right") - 1, 0, len(self.slope) - 1))
        ahead = path - self.path[k]
        root = math.sqrt(self.rate[k] ** 2 + 2 * self.slope[k] * ahead)
        return float(self.time[k] + (2 * ahead / (self.rate[k] + root) if ahead > 0 else 0))


@dataclass(frozen=True)
class Course:
    """From `at` and `path` on; table times `begin` to `end`."""

    ramp: Ramp
    at: float
    path: float
    begin: float
    end: float

    @property
    def duration(self) -> float:
        return abs(self.end - self.begin)

    def table_time(self, arm: Floats) -> Floats:
        elapsed = np.clip(arm - self.at, 0, self.duration)
        return self.begin + np.copysign(elapsed, self.end - self.begin)

    def path_at(self, arm: Floats) -> Floats:
        begun = self.ramp.covered(np.array([self.begin]))[0]
        on_ramp = self.path + np.abs(self.ramp.covered(self.table_time(arm)) - begun)
        after = (
            np.maximum(arm - self.at - self.duration, 0)
            * self.ramp.rate_at(np.array([self.end]))[0]
        )
        return np.asarray(on_ramp + after, dtype=np.float64)

    def rate_at(self, arm: Floats) -> Floats:
        return self.ramp.rate_at(self.table_time(arm))

    def when(self, path: float) -> float:
        """Arm time at which path time is reached, not before `at`; infinity for never."""
        begun, ended = self.ramp.covered(np.array([self.begin, self.end]))
        ahead = path - self.path
        if ahead <= abs(ended - begun):
            if self.end >= self.begin:
                return self.at + self.ramp.time_of_path(begun + ahead) - self.begin
            return self.at + self.begin - self.ramp.time_of_path(begun - ahead)
        rate = float(self.ramp.rate_at(np.array([self.end]))[0])
        return (
            math.inf if rate == 0 else self.at + self.duration + (ahead - abs(ended - begun)) / rate
        )

    def fall(self, at: float, path: float | None = None) -> Course:
        instant = np.array([at])
        begin = float(self.table_time(instant)[0])
        return Course(
            self.ramp, at, float(self.path_at(instant)[0]) if path is None else path, begin, 0.0
        )


@dataclass
class Clock:
    """Joint time to arm time, by maps taken one after another."""

    taken: list[float] = field(default_factory=list)
    maps: list[tuple[int, int, int]] = field(default_factory=list)  # arm, joint, ppb
    remainders: list[float] = field(default_factory=list)

    def take(self, joint: float, arm_us: int, joint_us: int, ppb: int) -> None:
        shown = self.arm(np.array([joint]))[0] if self.maps else None
        self.taken.append(joint)
        self.maps.append((arm_us, joint_us, ppb))
        self.remainders.append(0.0)
        if shown is not None:
            self.remainders[-1] = float(shown - self.arm(np.array([joint]))[0])

    def arm(self, joint: Floats) -> Floats:
        k = np.maximum(np.searchsorted(np.array(self.taken), joint, side="right") - 1, 0)
        arm_us, joint_us, ppb = np.array(self.maps, dtype=np.float64).T
        remainder = np.array(self.remainders)[k]
        left = np.maximum(np.abs(remainder) - (joint - np.array(self.taken)[k]) * 200e-6, 0)
        return np.asarray(
            arm_us[k] + (joint - joint_us[k]) / (1 + ppb[k] / 1e9) + np.copysign(left, remainder),
            dtype=np.float64,
        )


@dataclass(frozen=True)
class Points:
    time: Floats
    position: Floats
    velocity: Floats

    def at(self, path: Floats) -> tuple[Floats, Floats]:
        """Position and velocity (counts/s of path time)."""
        path = np.clip(path, self.time[0], self.time[-1])
        k = np.clip(np.searchsorted(self.time, path, side="right") - 1, 0, len(self.time) - 2)
        h = (self.time[k + 1] - self.time[k]) / 1e6
        u = (path - self.time[k]) / 1e6 / h
        d = self.position[k + 1] - self.position[k]
        d0, d1 = self.velocity[k] * h, self.velocity[k + 1] * h
        square, cube = 3 * d - 2 * d0 - d1, d0 + d1 - 2 * d
        return (
            np.asarray(self.position[k] + u * (d0 + u * (square + u * cube)), dtype=np.float64),
            np.asarray((d0 + u * (2 * square + 3 * u * cube)) / h, dtype=np.float64),
        )


@dataclass
class Motion:
    """Courses one after another, from their `at` on, and rest where the last point is reached."""

    points: Points
    courses: list[Course]

    def path_at(self, arm: Floats) -> tuple[Floats, Floats]:
        """Path time and rate."""
        path = np.full(arm.shape, self.courses[0].path)
        rate = np.zeros(arm.shape)
        for course in self.courses:
            held = arm >= course.at
            path[held] = course.path_at(arm[held])
            rate[held] = course.rate_at(arm[held])
        rate[path >= self.points.time[-1]] = 0
        return np.minimum(path, self.points.time[-1]), rate

    def at(self, arm: Floats) -> tuple[Floats, Floats]:
        """Position and velocity, counts/s."""
        path, rate = self.path_at(arm)
        position, velocity = self.points.at(path)
        return position, velocity * rate
