"""Runs given to `deploy/joint/tests/steps.c`, and what comes of them."""

from __future__ import annotations

import random
import subprocess

import numpy as np

from tests.joint_c.step_errors import Errors, Made, broken_limits, read_made
from tests.joint_c.trajectories import Run, random_run

# Slower than common stepper drivers need: 1 µs high, low, before and after, in 1/256 µs.
LIMITS = (256, 256, 256, 256)


class Program:
    """One program for many runs."""

    def __init__(self, path: str) -> None:
        self._process = subprocess.Popen([path], stdin=subprocess.PIPE, stdout=subprocess.PIPE)
        self.tell("limits {} {} {} {}\n".format(*LIMITS))

    def tell(self, text: str) -> None:
        assert self._process.stdin is not None
        self._process.stdin.write(text.encode())
        self._process.stdin.flush()

    def made(self, text: str) -> Made:
        self.tell(text)
        assert self._process.stdout is not None
        return read_made(self._process.stdout)

    def close(self) -> None:
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.close()
        self._process.stdout.close()
        if self._process.wait() != 0:
            raise RuntimeError(f"the program ended with {self._process.returncode}")


def judge(run: Run, made: Made, errors: Errors) -> list[str]:
    """Adds a run to the errors; returns what may never be."""
    arm = run.clock.arm(made.at / 256)
    position, velocity = run.motion.at(arm)
    final, _ = run.motion.at(run.clock.arm(np.array([run.end_joint_us])))
    errors.add(made, float(run.points.position[0]), position, velocity, float(final[0]))
    found = broken_limits(made, *LIMITS)
    if made.phase != 0:
        found.append(f"it does not rest: phase {made.phase}")
    path = run.motion.path_at(run.clock.arm(np.array([run.end_joint_us])))[0][0]
    if abs(made.path - path) > 0.52:  # rounded to a whole µs; whole numbers err by 0.02
        found.append(f"it rests at path time {made.path}, not {path}")
    return found


def measure(program: Program, runs: int, seed: int, *, typical: bool, ahead_us: int = 0) -> Errors:
    errors = Errors()
    program.tell(f"ahead {ahead_us}\n")
    for number in range(runs):
        run = random_run(random.Random(seed * 1_000_003 + number), typical=typical)
        found = judge(run, program.made(run.text), errors)
        if found:
            raise AssertionError(f"run {number} of seed {seed}: {'; '.join(found)}\n{run.text}")
    return errors
