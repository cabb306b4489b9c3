"""How far the motor's steps are from the exact motion."""

from __future__ import annotations

import struct
from dataclasses import dataclass
from typing import IO

import numpy as np
from numpy.typing import NDArray

from tests.joint_c.exact import Floats

PLAY = 1 / 64  # microsteps: deploy/joint/core/steps.h
FAST = 1000  # microsteps/s: below it an instant says little, a position all


@dataclass(frozen=True)
class Made:
    """What the program answers at `end`."""

    phase: int
    path: float  # µs
    motor: float  # counts
    commanded: float  # counts
    event: int  # that comes next on the path: uj_path_event
    event_arm: float  # µs
    permit: int  # effective, µs; -1 for none
    legs: Floats  # from (µs), position, velocity, acceleration
    at: NDArray[np.int64]  # 1/256 µs
    up: NDArray[np.bool_]
    set_at: NDArray[np.int64]  # of the direction; 0 where it stays


def read_made(stream: IO[bytes]) -> Made:
    count = struct.unpack("=q", stream.read(8))[0]
    data = stream.read(8 * count)
    phase, path, motor, commanded, event, arm, permit, legs = struct.unpack("=8q", data[:64])
    steps = np.frombuffer(data[64 + 32 * legs :], dtype=np.int64).reshape(-1, 2)
    return Made(
        phase=phase,
        path=path / 256,
        motor=motor / 256,
        commanded=commanded / 1024,
        event=event,
        event_arm=arm / 256,
        permit=permit,
        legs=np.frombuffer(data[64 : 64 + 32 * legs], dtype=np.float64).reshape(-1, 4),
        at=steps[:, 0] >> 1,
        up=(steps[:, 0] & 1).astype(bool),
        set_at=steps[:, 1],
    )


@dataclass
class Errors:
    """The worst of all runs; microsteps and µs."""

    steps: int = 0
    off: float = 0.0  # the motor from the exact position, beyond the half microstep of rounding
    early_late: float = 0.0  # a step's exact position from the one at which it is due
    early_late_us: float = 0.0  # the same in time, at 1000 microsteps/s and more
    rest: float = 0.0  # as `off`, once it rests
    fastest: float = 0.0  # microsteps/s, at a step

    def add(
        self, made: Made, begin: float, position: Floats, velocity: Floats, final: float
    ) -> None:
        """Exact position (counts), velocity (counts/s) at the steps; `final` at rest."""
        way = np.where(made.up, 1, -1)
        after = np.cumsum(way)
        exact = (position - begin) / 256
        due = after - way / 2
        late = way * (exact - due) - PLAY
        off = np.maximum(np.abs(after - exact), np.abs(after - way - exact)) - 0.5
        speed = np.abs(velocity) / 256
        fast = speed >= FAST
        self.fastest = max(self.fastest, float(speed.max(initial=0.0)))
        self.steps += len(way)
        if len(way):
            self.off = max(self.off, float(off.max()))
            self.early_late = max(self.early_late, float(np.abs(late).max()))
        if fast.any():
            self.early_late_us = max(
                self.early_late_us, float((np.abs(late[fast]) / speed[fast]).max() * 1e6)
            )
        stands = int(after[-1]) if len(after) else 0
        self.rest = max(self.rest, abs(stands - (final - begin) / 256) - 0.5)


def broken_limits(made: Made, high: int, low: int, setup: int, hold: int) -> list[str]:
    """What a driver would not stand: pulses too close, a direction that changes near one."""
    found = []
    if len(made.at) > 1 and int(np.diff(made.at).min()) < high + low:
        found.append(f"two steps {int(np.diff(made.at).min())} apart")
    turns = made.set_at != 0
    changes = np.concatenate([[True], made.up[1:] != made.up[:-1]]) if len(made.up) else turns
    if not np.array_equal(turns, changes):
        found.append("a direction that changes unsaid, or is said and does not change")
    if turns.any() and int((made.at - made.set_at)[turns].min()) < setup:
        found.append("a direction set too late")
    later = np.flatnonzero(turns)
    later = later[later > 0]
    if len(later) and int((made.set_at[later] - made.at[later - 1]).min()) < hold:
        found.append("a direction taken away too soon")
    return found
