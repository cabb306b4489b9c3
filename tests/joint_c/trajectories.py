"""Random runs of one joint for `deploy/joint/tests/steps.c`, each with its exact motion."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass

import numpy as np

from tests.joint_c.exact import Clock, Course, Motion, Points, Ramp, ramp_rows

JOINT_US = 60_000_000
ARM_US = 5_000_000_000


@dataclass(frozen=True)
class Run:
    text: str  # for the program
    points: Points
    clock: Clock
    motion: Motion
    velocity: float  # the joint's limit, counts/s
    acceleration: float
    end_joint_us: float


def random_points(
    rng: random.Random, velocity: float, acceleration: float, most_counts: float
) -> list[list[int]]:
    """Points within the limits, from rest to rest: with many turns, and close ones."""
    points = [[0, rng.randrange(-10_000_000, 10_000_000), 0]]
    way = 0.0
    planned = 0.8 * acceleration
    while True:
        time, position, before = points[-1]
        h = rng.choice((0.001, 0.01, 0.05, 0.1, 0.2, 0.5)) * rng.uniform(1, 2)
        last = len(points) > 60 or (len(points) > 2 and way > most_counts) or time > 6_000_000
        if last:
            h = max(h, 3 * abs(before) / planned)
            after = 0
        else:
            gain = planned * h * rng.uniform(-0.45, 0.45)
            after = round(max(-0.9 * velocity, min(0.9 * velocity, before + gain)))
        h_us = round(h * 1e6)
        h = h_us / 1e6
        # The mean velocity and a little more or less: so acceleration differs between the ends.
        lean = rng.uniform(-0.05, 0.05) * planned * h * h if not last else 0
        step = round((before + after) / 2 * h + lean)
        points.append([time + h_us, position + step, after])
        way += abs(step)
        if last:
            return points


def random_run(rng: random.Random, *, typical: bool, most_steps: int = 8000) -> Run:
    """A run of the arm's usual joint (`typical`: 60 °/s and 120 °/s², v/a 0.5 s).

    Else its speed is up to 250,000 microsteps a second, and v/a down to 0.05 s.
    """
    velocity = 2_730_000.0 if typical else 256 * 10 ** rng.uniform(2, math.log10(250_000))
    v_over_a = 0.5 if typical else rng.uniform(0.05, 0.6)
    acceleration = math.floor(velocity / v_over_a)
    rows = ramp_rows(v_over_a)
    ramp = Ramp(rows)
    points = random_points(rng, velocity, acceleration, 256.0 * most_steps)
    columns = np.array(points, dtype=np.float64).T
    held = Points(columns[0], columns[1], columns[2])
    total = points[-1][0]

    ppb = rng.randrange(-50_000, 50_000)
    clock = Clock()
    clock.take(JOINT_US, ARM_US, JOINT_US, ppb)
    lines = [
        f"ramp {len(rows)} " + " ".join(f"{t} {r}" for t, r in rows),
        *(f"point {t} {p} {v} {1 if t == total else 0}" for t, p, v in points),
        f"map {JOINT_US} 1 {ARM_US} {JOINT_US} {ppb} 1",
        f"begin {JOINT_US}",
    ]
    kind = rng.choice(("through", "permit", "fall", "override", "override and permit", "advance"))
    if kind == "advance":
        target = rng.randrange(1, max(2, min(total, 60_000)))
        now = float(clock.arm(np.array([JOINT_US + 5000.0]))[0])
        lines.append(f"advance {JOINT_US + 5000} {target}")
        courses = advance(ramp, now, target)
    else:
        after = rng.choice((1_000_000, 1_000_000, rng.randrange(50_000, 1_000_000)))
        start = ARM_US + rng.randrange(20_000, 40_000)
        lines.append(f"pend {JOINT_US + 1000} {start} 0 0 {after}")
        permit = rng.randrange(1, total) if "permit" in kind else total
        lines.append(f"permit {JOINT_US + 1000} {permit}")
        courses = [Course(ramp, start, 0.0, 0.0, ramp.time_of_rate(after / 1e6))]
        timed: list[tuple[int, str]] = []
        if "override" in kind:
            add_override(rng, ramp, courses, timed, after)
        if rng.random() < 0.5:
            at = JOINT_US + rng.randrange(50_000, 1_500_000)
            off = rng.randrange(-800, 800)
            drift = rng.randrange(-50_000, 50_000)
            arm_us = round(float(clock.arm(np.array([float(at - 400)]))[0])) + off
            timed.append((at, f"2 {arm_us} {at - 400} {drift} 0"))
            clock.take(at, arm_us, at - 400, drift)
        fall_at = None
        if kind == "fall":
            fall_at = JOINT_US + rng.randrange(60_000, 3_000_000)
            timed.append((fall_at, "fall"))
        rest = stop(clock, courses, timed, permit, total, fall_at)
        lines += rest
    settled = min(
        courses[-1].when(total),
        courses[-1].at + courses[-1].duration + (1e12 if courses[-1].end else 0),
    )
    end_joint = JOINT_US + (settled - ARM_US) * 1.001 + 30_000
    lines.append(f"end {math.ceil(end_joint)}")
    return Run(
        "\n".join(lines) + "\n",
        held,
        clock,
        Motion(held, courses),
        velocity,
        acceleration,
        end_joint,
    )


def advance(ramp: Ramp, now: float, target: float) -> list[Course]:
    top = ramp.time_of_rate(0.05)
    half = float(ramp.covered(np.array([top]))[0])
    if 2 * half > target:
        top = ramp.time_of_path(target / 2)
        half = target / 2
    rise = Course(ramp, now, 0.0, 0.0, top)
    rate = float(ramp.rate_at(np.array([top]))[0])
    turn = now + top + (target - 2 * half) / rate
    return [rise, Course(ramp, turn, target - half, top, 0.0)]


def add_override(
    rng: random.Random, ramp: Ramp, courses: list[Course], timed: list[tuple[int, str]], before: int
) -> None:
    present = courses[-1]
    at = math.ceil(present.at + present.duration) + rng.randrange(1, 400_000)
    path = round(float(present.path_at(np.array([float(at)]))[0]))
    after = rng.randrange(50_000, 1_000_000)
    # Told a good while before: joint time is within 2 ms of this.
    timed.append((JOINT_US + (at - ARM_US) - 15_000, f"pend {at} {path} {before} {after}"))
    courses.append(
        Course(
            ramp,
            float(at),
            float(path),
            ramp.time_of_rate(before / 1e6),
            ramp.time_of_rate(after / 1e6),
        )
    )


def stop(
    clock: Clock,
    courses: list[Course],
    timed: list[tuple[int, str]],
    permit: int,
    total: int,
    fall_at: int | None,
) -> list[str]:
    """Ends the courses by the fall that comes first; gives the lines that come before it."""
    falls = [(course.when(permit), permit) for course in courses] if permit < total else []
    for place, course in enumerate(courses):
        until = courses[place + 1].at if place + 1 < len(courses) else math.inf
        falls_here = [arm for arm, _ in falls[place : place + 1] if arm <= until]
        asked = float(clock.arm(np.array([float(fall_at)]))[0]) if fall_at is not None else math.inf
        last = course.when(total)
        first = min([*falls_here, asked, last, until])
        if first == until:
            continue
        del courses[place + 1 :]
        if first == asked:
            courses.append(course.fall(asked))
        elif first != last:
            courses.append(course.fall(first, float(permit)))
        break
    ends = min(courses[-1].at, courses[-1].when(total))
    lines = []
    for at, what in sorted(timed):
        arm = float(clock.arm(np.array([float(at)]))[0])
        if what == "fall":
            if arm == courses[-1].at:
                lines.append(f"fall {at}")
        elif what.startswith("pend"):
            if arm < ends or (len(courses) > 1 and arm < courses[-1].at):
                lines.append(f"pend {at} {what[5:]}")
        else:
            lines.append(f"map {at} {what}")
    return lines
