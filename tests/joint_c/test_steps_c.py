"""The instants of the motor's steps that the joint in C makes, against the exact motion.

tests/bench/joint_c_steps.py makes more of the same runs.
"""

import random

import numpy as np
import pytest

from tests.joint_c.step_errors import PLAY, broken_limits
from tests.joint_c.step_runs import LIMITS, Program, measure
from tests.joint_c.trajectories import ARM_US, random_run

# deploy/joint/core/steps.h: rounding, play, and a slice's a·T²/8; microsteps.
USUAL, FASTEST = 0.006, 0.2

NO_PATH = "ramp 2 0 0 1000000 1000000\n"


def test_steps_of_the_usual_joint_come_at_their_exact_positions(program: Program) -> None:
    errors = measure(program, 12, 11, typical=True)
    assert errors.steps > 50_000
    assert errors.early_late < USUAL
    assert errors.off < PLAY + USUAL
    assert errors.rest < PLAY + USUAL


def test_steps_at_up_to_250_khz_come_near_their_exact_positions(program: Program) -> None:
    errors = measure(program, 12, 12, typical=False)
    assert errors.steps > 10_000
    assert errors.early_late < FASTEST
    assert errors.off < PLAY + FASTEST


def test_steps_made_ahead_of_a_change_are_made_good(program: Program) -> None:
    errors = measure(program, 12, 13, typical=True, ahead_us=2000)
    # ½·a·t² of the 2.5 ms that are made already, with the slice: 17 counts.
    assert errors.early_late < 17 / 256 + USUAL
    assert errors.rest < PLAY + USUAL


@pytest.mark.parametrize("seed", range(6))
def test_steps_of_a_jog_to_a_target_follow_its_parabolas_and_end_there(
    program: Program, seed: int
) -> None:
    rng = random.Random(seed)
    acceleration = rng.randrange(100_000, 20_000_000)
    speed = rng.randrange(1000, 5_000_000)
    target = rng.randrange(-600_000, 600_000)
    # A jog first, so that the target finds the joint moving, towards it or away.
    jog = f"jog 2000 {rng.randrange(-speed, speed)} {acceleration}\n"
    text = f"ahead 0\n{NO_PATH}begin 1000\n{jog}"
    until = 2000 + rng.randrange(1000, 300_000)
    made = program.made(text + f"target {until} {target} {speed} {acceleration}\nend 40000000\n")
    assert broken_limits(made, *LIMITS) == []
    assert made.commanded == target
    assert abs(made.motor - target) <= 256 * (0.5 + PLAY)
    legs = made.legs
    assert np.all((np.abs(legs[:, 3]) == acceleration) | (legs[:, 3] == 0))
    at = made.at / 256
    held = at >= legs[0, 0]
    k = np.searchsorted(legs[:, 0], at[held], side="right") - 1
    t = (at[held] - legs[k, 0]) / 1e6
    position = legs[k, 1] + (legs[k, 2] + legs[k, 3] / 2 * t) * t
    velocity = legs[k, 2] + legs[k, 3] * t
    moving = t < np.append(np.diff(legs[:, 0]), np.inf)[k] / 1e6
    assert moving.all()
    way = np.where(made.up, 1, -1)
    due = 256 * (np.cumsum(way) - way / 2 + way * PLAY)[held]
    # A slice's a·T²/8, twice where its acceleration changes, and rounding.
    assert np.abs(position - due).max() < acceleration * (512e-6) ** 2 / 4 + 2
    assert np.abs(velocity).max() <= max(speed, np.abs(legs[:, 2]).max()) + 1


@pytest.mark.parametrize("seed", range(40))
def test_whatever_is_asked_and_when_the_motor_follows_within_its_drivers_limits(
    program: Program, seed: int
) -> None:
    rng = random.Random(seed)
    run = random_run(rng, typical=True, most_steps=2000)
    head = [line for line in run.text.splitlines() if line.split()[0] in ("ramp", "point")]
    total = int(run.points.time[-1])
    far = 2**53 - 1
    ppb = rng.choice((0, 300_000, -300_000))
    lines = [f"ahead {rng.choice((0, 500, 2000))}", *head, f"map 1000 1 {ARM_US} 1000 {ppb} 1"]
    lines.append("begin 1000")
    joint, number, rate = 1000, 1, 0
    for _ in range(rng.randrange(5, 40)):
        joint += rng.choice((0, 1, 500, 40_000, 400_000))
        arm = ARM_US + joint - 1000
        match rng.randrange(7):
            case 0:
                at = rng.choice((arm, arm + 1, arm + 50_000, arm + 50_000, far, -far))
                after = rng.choice((50_000, 500_000, 1_000_000))
                lines.append(
                    f"pend {joint} {at} {rng.choice((0, 0, 0, total, far))} {rate} {after}"
                )
                rate = after
            case 1 | 2:
                lines.append(
                    f"permit {joint} {rng.choice((0, rng.randrange(total), total, far, -far))}"
                )
            case 3:
                lines.append(f"fall {joint}")
            case 4:
                lines.append(f"advance {joint} {rng.randrange(total + 1)}")
            case 5:
                number += 1
                moved = arm + rng.randrange(-4000, 4000)
                lines.append(f"map {joint} {number} {moved} {joint} {rng.choice((0, 300_000))} 0")
            case 6:
                lines.append(f"permit {joint} {far}")
    made = program.made("\n".join(lines) + f"\nend {joint + 20_000_000}\n")
    assert broken_limits(made, *LIMITS) == []
    # It may go on still; then the steps of a slice are not made yet.
    assert abs(made.motor - made.commanded) <= 256 * (0.5 + PLAY) + 2 + 700 * (made.phase != 0)


def test_a_driver_that_asks_for_long_pulses_gets_them(program: Program) -> None:
    # 5 µs and 10 µs; and a direction longer before and after than the reversal leaves, 3.4 ms.
    limits = (1280, 2560, 4 * 256_000, 256_000)
    program.tell("limits {} {} {} {}\n".format(*limits))
    there = "jog 0 12000000 90000000\njog 400000 -12000000 90000000\n"
    made = program.made(f"ahead 0\n{NO_PATH}begin 0\n{there}jog 900000 0 90000000\nend 2000000\n")
    program.tell("limits {} {} {} {}\n".format(*LIMITS))
    assert len(made.at) > 1000
    assert broken_limits(made, *limits) == []
    assert abs(made.motor - made.commanded) <= 256 * (0.5 + PLAY) + 1
