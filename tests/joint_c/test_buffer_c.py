"""The buffer of points in C: what it takes, refuses, switches and frees."""

import json
import random
import struct
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.joint_c.exact import Points
from tests.joint_c.lines import Lines
from tests.joint_c.trajectories import random_points

CAPACITY = 512  # UJ_POINT_CAPACITY, as it is by itself
LAST, OUTPUTS = 1, 2
SEGMENTS = json.loads(
    (Path(__file__).parents[2] / "protocol" / "vectors" / "segments.json").read_text()
)


class Buffer(Lines):
    def limits(self, low: int | None, high: int | None, velocity: int, acceleration: int) -> None:
        bounds = "0 0 0" if low is None else f"1 {low} {high}"
        self.line(f"limits {bounds} {velocity} {acceleration}")

    def frame(self, points: Sequence[tuple[int, ...]], first: int = 0, trajectory: int = 1) -> str:
        """The code. A point is time, position, velocity, and maybe flags, mask and values."""
        packed = b"".join(struct.pack(">qqiBBBB", *(*point, 0, 0, 0)[:6], 0) for point in points)
        answer = self.line(f"frame {trajectory} {first} {len(points)} {packed.hex()}")
        return answer.split()[0]

    def state(self) -> list[str]:
        return self.line("state").split()


@pytest.fixture(scope="module")
def running(joint_build: Path) -> Iterator[Buffer]:
    buffer = Buffer(joint_build / "buffer")
    yield buffer
    assert buffer.end() == 0


@pytest.fixture
def buffer(running: Buffer) -> Buffer:
    running.line("clear")
    running.limits(None, None, 2_730_000, 5_460_000)
    return running


def still(count: int, begin: int = 0, spacing: int = 10_000) -> list[tuple[int, ...]]:
    return [((begin + k) * spacing, 0, 0) for k in range(count)]


def test_points_are_taken_frame_after_frame(buffer: Buffer) -> None:
    assert buffer.frame(still(3)) == "accepted"
    assert buffer.frame(still(2, 3), first=3) == "accepted"
    assert buffer.state()[:5] == ["1", "5", "40000", "0", "0"]


def test_a_frame_known_already_is_accepted_and_changes_nothing(buffer: Buffer) -> None:
    buffer.frame(still(5))
    before = buffer.state()
    assert buffer.frame(still(2, 3), first=3) == "accepted"
    assert buffer.frame([(99, 99, 99)], first=0) == "accepted"
    assert buffer.state() == before


@pytest.mark.parametrize(
    ("points", "first", "code"),
    [
        ([(1, 0, 0)], 0, "first-point"),
        ([(0, 0, 1)], 0, "first-point"),
        ([(0, 0, 0), (0, 0, 0)], 0, "point-order"),
        ([(0, 0, 0), (-5, 0, 0)], 0, "point-order"),
        ([(0, 0, 0, LAST), (10_000, 0, 0)], 0, "after-last"),
        ([(0, 0, 0), (100_000, 50, 1000, LAST)], 0, "last-moving"),
        ([(0, 0, 0), (100_000, 50, 1000, OUTPUTS, 1, 1)], 0, "output-in-motion"),
        ([(0, 0, 0), (999, 0, 0)], 0, "segment"),
        ([(0, 0, 0)], 1, "points-gap"),
    ],
)
def test_a_frame_with_a_wrong_point_is_refused_by_its_code_and_changes_nothing(
    buffer: Buffer, points: list[tuple[int, ...]], first: int, code: str
) -> None:
    assert buffer.frame(points, first=first) == code
    assert buffer.state()[:2] == ["0", "0"]


def test_the_newest_point_counts_for_the_first_of_the_next_frame(buffer: Buffer) -> None:
    buffer.frame(still(2))
    assert buffer.frame([(10_500, 0, 0)], first=2) == "segment"
    assert buffer.frame([(10_000, 0, 0)], first=2) == "point-order"
    assert buffer.frame([(20_000, 0, 0, LAST)], first=2) == "accepted"
    assert buffer.frame([(30_000, 0, 0)], first=3) == "after-last"
    assert buffer.state()[1:4] == ["3", "20000", "1"]


def test_another_trajectory_waits_until_the_first_is_gone(buffer: Buffer) -> None:
    buffer.frame(still(2))
    assert buffer.frame(still(2), trajectory=2) == "trajectory-loaded"
    assert buffer.frame(still(2), trajectory=0) == "message-invalid"
    buffer.line("clear")
    assert buffer.frame(still(2), trajectory=2) == "accepted"


@pytest.mark.parametrize("case", SEGMENTS["cases"], ids=lambda case: case["name"])
def test_a_segment_of_the_vectors_is_judged_in_its_frame(
    buffer: Buffer, case: dict[str, Any]
) -> None:
    # From rest or not, the first point of a trajectory rests: one is put before it, far enough.
    a, b = case["a"], case["b"]
    before = (0, a["position"] - a["velocity"] * 5, 0)
    at = 10_000_000
    wanted = "accepted" if case["refused"] is None else "segment"
    moved = b["time_us"] - a["time_us"] + at
    frame = [before, (at, a["position"], a["velocity"]), (moved, b["position"], b["velocity"])]
    assert buffer.frame(frame) == wanted


def test_the_range_holds_for_points_and_for_the_cubic_between_them(buffer: Buffer) -> None:
    buffer.limits(-1000, 1000, 2_730_000, 5_460_000)
    assert buffer.frame([(0, 0, 0), (1_000_000, 1002, 0)]) == "range"
    assert buffer.frame([(0, 0, 0), (1_000_000, -1002, 0)]) == "range"
    # Between both it passes the end: at 0.5 s by 8000·1 s/8 = 1000 counts.
    passing = [(0, 0, 0), (1_000_000, 990, 4000), (2_000_000, 990, -4000)]
    assert buffer.frame(passing) == "range"
    assert buffer.frame([(0, 0, 0), (1_000_000, 990, 40), (2_000_000, 990, -40)]) == "accepted"


@pytest.mark.parametrize("end", [1001, -1001])
def test_a_point_one_count_beyond_the_range_is_rounding(buffer: Buffer, end: int) -> None:
    buffer.limits(-1000, 1000, 2_730_000, 5_460_000)
    assert buffer.frame([(0, 0, 0), (1_000_000, end, 0)]) == "accepted"


def test_a_cubic_one_count_beyond_the_range_is_rounding(buffer: Buffer) -> None:
    # From 1000 with 4 counts/s it goes 1 further in the middle of a second: h·v/4.
    buffer.limits(-1000, 1000, 2_730_000, 5_460_000)
    start = [(0, 0, 0), (1_000_000, 1000, 4), (2_000_000, 1000, -4)]
    assert buffer.frame(start) == "accepted"
    buffer.line("clear")
    assert buffer.frame([start[0], (1_000_000, 1000, 5), (2_000_000, 1000, -5)]) == "range"


def test_a_full_buffer_refuses_a_frame_wholly_until_points_are_freed(buffer: Buffer) -> None:
    taken = 0
    while taken + 100 <= CAPACITY:
        assert buffer.frame(still(100, taken), first=taken) == "accepted"
        taken += 100
    assert buffer.frame(still(100, taken), first=taken) == "buffer-full"
    assert buffer.frame(still(CAPACITY - taken, taken), first=taken) == "accepted"
    assert buffer.frame(still(1, CAPACITY), first=CAPACITY) == "buffer-full"
    assert buffer.line("free 1000005").split()[4] == "100"
    assert buffer.frame(still(100, CAPACITY), first=CAPACITY) == "accepted"
    assert buffer.state()[1] == str(CAPACITY + 100)


def test_freeing_keeps_the_segment_and_what_an_arm_may_go_back_to(buffer: Buffer) -> None:
    buffer.frame(still(10))
    assert buffer.line("free 30000").split()[4] == "2"
    assert buffer.line("free 30002").split()[4] == "2"
    assert buffer.line("free 30003").split()[4] == "3"
    assert buffer.line("free 500000").split()[4] == "8"


def test_points_switch_in_their_order_once_and_are_not_freed_before(buffer: Buffer) -> None:
    points = [(0, 0, 0, OUTPUTS, 3, 1), (10_000, 0, 0), (20_000, 0, 0, OUTPUTS, 4, 4)]
    buffer.frame(points)
    assert buffer.state()[5] == "0"
    assert buffer.line("free 20000").split()[4] == "0"
    assert buffer.line("switch -1") == "-"
    assert buffer.line("switch 19999") == "3 1 -"
    assert buffer.line("switch 19999") == "-"
    assert buffer.state()[5] == "20000"
    assert buffer.line("switch 50000") == "4 4 -"
    buffer.frame([(30_000, 0, 0), (40_000, 0, 0, OUTPUTS, 1, 0)], first=3)
    assert buffer.line("switch 50000") == "1 0 -"
    assert buffer.state()[5] == "-"


@pytest.mark.parametrize("seed", range(4))
def test_the_cubic_between_points_is_followed_while_points_come_and_go(
    buffer: Buffer, seed: int
) -> None:
    rng = random.Random(seed)
    points = random_points(rng, 2_730_000, 5_460_000, 1e9)
    exact = Points(*np.array(points, dtype=np.float64).T)
    taken = 0
    path = 0
    while path < points[-1][0]:
        while taken < len(points) and (taken < 2 or points[taken - 1][0] <= path + 10_000):
            count = min(rng.randrange(1, 5), len(points) - taken)
            frame = [tuple(point) for point in points[taken : taken + count]]
            assert buffer.frame(frame, first=taken) == "accepted"
            taken += count
        wanted = exact.at(np.array([float(path)]))
        position, velocity = map(float, buffer.line(f"where {path * 256}").split())
        assert position == pytest.approx(float(wanted[0][0]), abs=1e-4)
        assert velocity == pytest.approx(float(wanted[1][0]), abs=1e-2)
        buffer.line(f"free {path}")
        path += rng.randrange(1, 100_000)
