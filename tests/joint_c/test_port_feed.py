"""From the joint's machine to the motor's pins, with the pulse peripheral played in C."""

import subprocess
from dataclasses import dataclass, field
from pathlib import Path

import pytest

HIGH, LOW, SETUP, HOLD = 20, 20, 1_000, 4_000
"""Ticks of 0.1 µs, as the program has them."""


@dataclass
class Pins:
    """What came out. Ticks; counts."""

    commanded: list[tuple[int, float]] = field(default_factory=list)
    rose: list[int] = field(default_factory=list)
    fell: list[int] = field(default_factory=list)
    direction: list[tuple[int, int]] = field(default_factory=list)
    drivers: list[tuple[int, int]] = field(default_factory=list)
    late: int = 0
    lost: int = 0

    def motor(self) -> list[tuple[int, float]]:
        """Where the motor stands while its drivers are on, at those instants of `commanded`.

        256 counts to a step. With its drivers off it moves by no step; when they come on it is
        where the joint takes it to be.
        """
        edges = sorted(
            [(at, "step", 0) for at in self.rose]
            + [(at, "direction", level) for at, level in self.direction]
            + [(at, "drivers", on) for at, on in self.drivers]
        )
        out: list[tuple[int, float]] = []
        position, step, is_on, k = 0.0, -256, False, 0
        for at, commanded in self.commanded:
            while k < len(edges) and edges[k][0] <= at:
                _, what, level = edges[k]
                if what == "direction":
                    step = 256 if level else -256
                elif what == "drivers":
                    is_on, position = bool(level), commanded
                elif is_on:
                    position += step
                k += 1
            if is_on:
                out.append((at, position))
        return out

    def worst(self) -> float:
        """Counts by which the motor is from where it is commanded to be, at most."""
        commanded = dict(self.commanded)
        return max(abs(position - commanded[at]) for at, position in self.motor())


def played(build: Path, seed: int, turn_ms: int, blocked_ms: int = 0, told: bool = False) -> Pins:
    done = subprocess.run(
        [str(build / "feed"), *map(str, (seed, turn_ms, blocked_ms, int(told)))],
        capture_output=True,
        text=True,
        check=True,
    )
    pins = Pins()
    for line in done.stdout.splitlines():
        kind, first, *rest = line.split()
        match kind:
            case "p":
                pins.commanded.append((int(first), float(rest[0])))
            case "r":
                pins.rose.append(int(first))
            case "f":
                pins.fell.append(int(first))
            case "d":
                pins.direction.append((int(first), int(rest[0])))
            case "o":
                pins.drivers.append((int(first), int(rest[0])))
            case _:
                pins.late, pins.lost = int(first), int(rest[0])
    assert len(pins.rose) > 1_000
    return pins


@pytest.mark.parametrize("seed", range(6))
def test_the_driver_s_limits_hold_at_every_edge(joint_build: Path, seed: int) -> None:
    # Also where the task has other things to do for so long that steps come late.
    pins = played(joint_build, seed, 1 + seed % 3, (0, 8, 40)[seed % 3])
    assert pins.lost == 0
    assert min(b - a for a, b in zip(pins.rose, pins.fell, strict=True)) == HIGH
    assert min(b - a for a, b in zip(pins.fell, pins.rose[1:], strict=False)) >= LOW
    assert len(pins.direction) > 1
    for at, _ in pins.direction:
        assert all(one <= at - HOLD or one >= at + SETUP for one in pins.rose)


def allowed_counts(ahead_ms: float) -> float:
    """Half a microstep with its play, and what a change of the jog does to steps made ahead.

    That is 2·5,460,000 counts/s² · t² ÷ 2.
    """
    return 128 + 8 + 5_460_000 * (ahead_ms / 1000) ** 2


@pytest.mark.parametrize("seed", range(6))
def test_the_motor_is_where_the_joint_is_commanded_to_be(joint_build: Path, seed: int) -> None:
    pins = played(joint_build, seed, 2)
    assert pins.worst() <= allowed_counts(10 + 1)
    assert pins.late <= SETUP  # the first step may wait for its direction


@pytest.mark.parametrize("took_ms", [1, 18, 32])
@pytest.mark.parametrize("seed", range(4))
def test_no_step_is_late_in_long_work_and_the_motor_obeys_right_after_it(
    joint_build: Path, seed: int, took_ms: int
) -> None:
    # It says 33 ms, whatever it takes. Marks are 4 ms apart.
    pins = played(joint_build, seed, 2, took_ms, told=True)
    assert pins.worst() <= allowed_counts(10 + 4 + 1)
    assert pins.late <= SETUP


@pytest.mark.parametrize("seed", range(6))
def test_no_step_is_late_when_the_drivers_come_on(joint_build: Path, seed: int) -> None:
    pins = played(joint_build, seed, 2)
    assert [on for _, on in pins.drivers] == [1, 0, 1]
    assert sum(at > pins.drivers[-1][0] for at in pins.rose) > 500
    assert pins.late <= SETUP


def test_steps_that_come_late_are_told(joint_build: Path) -> None:
    assert played(joint_build, 4, 1, 40).late > 20_000
