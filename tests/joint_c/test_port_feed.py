"""From the joint's motion to the motor's pins, with the pulse peripheral played in C."""

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
    late: int = 0
    lost: int = 0

    def motor(self) -> list[tuple[int, int]]:
        """Where the motor stands at each instant of `commanded`, 256 counts to a step."""
        edges = sorted([(at, 2) for at in self.rose] + self.direction)
        out, position, step, k = [], 0, -256, 0
        for at, _ in self.commanded:
            while k < len(edges) and edges[k][0] <= at:
                if edges[k][1] == 2:
                    position += step
                else:
                    step = 256 if edges[k][1] else -256
                k += 1
            out.append((at, position))
        return out


def played(program: Path, seed: int, turn_ms: int, blocked_ms: int) -> Pins:
    done = subprocess.run(
        [str(program), str(seed), str(turn_ms), str(blocked_ms)],
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
            case _:
                pins.late, pins.lost = int(first), int(rest[0])
    assert len(pins.rose) > 1_000
    return pins


@pytest.mark.parametrize("seed", range(6))
def test_the_driver_s_limits_hold_at_every_edge(joint_build: Path, seed: int) -> None:
    # Also where the lock is taken for so long that steps come late.
    pins = played(joint_build / "feed", seed, 1 + seed % 3, (0, 8, 49)[seed % 3])
    assert pins.lost == 0
    assert min(b - a for a, b in zip(pins.rose, pins.fell, strict=True)) == HIGH
    assert min(b - a for a, b in zip(pins.fell, pins.rose[1:], strict=False)) >= LOW
    assert len(pins.direction) > 1
    for at, _ in pins.direction:
        assert all(one <= at - HOLD or one >= at + SETUP for one in pins.rose)


@pytest.mark.parametrize("seed", range(6))
def test_the_motor_is_where_the_joint_is_commanded_to_be(joint_build: Path, seed: int) -> None:
    pins = played(joint_build / "feed", seed, 1, 0)
    # Half a microstep, and what a change of the jog does to steps made 9 ms ahead: up to
    # 2·5,460,000 counts/s² · (9 ms)² ÷ 2.
    allowed = 128 + 8 + 442
    commanded = pins.commanded
    apart = [abs(m - c) for (_, m), (_, c) in zip(pins.motor(), commanded, strict=True)]
    assert max(apart) <= allowed
    assert pins.late <= SETUP  # the first step may wait for its direction


def test_steps_that_come_late_are_told(joint_build: Path) -> None:
    assert played(joint_build / "feed", 4, 1, 49).late > 20_000
