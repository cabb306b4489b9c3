"""Deviation on a closed path of two joints: a polygon of short moves round a circle.

Terms are those of ISO 230-4 (from memory): the circular deviation is the distance of two circles
about one centre that just hold the path between them; quadrant errors are where a joint turns
round. The bounds are geometry, computed here.
"""

import math

import numpy as np
import pytest

from coordinator.config.arm import Arm
from tests.bench.reversal import (
    CORNERS,
    RADIUS_DEG,
    Course,
    behind_play,
    circle,
    roundness,
    with_approach,
)
from tests.coordinator.motion.blending.paths import ARM, Angles

TOLERANCE_DEG = 0.05
CHORD_DEG = RADIUS_DEG * (1.0 - math.cos(math.pi / CORNERS))
"""How far the middle of a chord is from its circle (the sagitta)."""
ROUNDING_DEG = 1e-3
PLAY_DEG = 0.2
SIDED = with_approach(ARM, 2)


def gone_round(arm: Arm, laps: int, head: str = f"G64 P{TOLERANCE_DEG}") -> Course:
    moves = "\n".join(f"G1 A{a:.6f} B{b:.6f}" for a, b in circle(laps))
    return Course.of(f"{head} F1200\n{moves}", arm)


def radii(places: Angles) -> Angles:
    """Distances from the centre of the circle that was asked for."""
    return np.hypot(places[:, 0] + RADIUS_DEG, places[:, 1])


def test_a_polygon_round_a_circle_is_within_tolerance_and_chord_of_the_circle() -> None:
    course = gone_round(ARM, 1)
    found = radii(course.angles)
    assert found.max() <= RADIUS_DEG + ROUNDING_DEG
    assert found.min() >= RADIUS_DEG - CHORD_DEG - TOLERANCE_DEG - ROUNDING_DEG
    assert np.linalg.norm(course.angles[-1]) <= ROUNDING_DEG  # closed
    # In one go, at the 20 °/s asked for: not by stopping at every corner.
    speeds = np.linalg.norm(np.diff(course.angles, axis=0), axis=1) / np.diff(course.times_s)
    inside = slice(len(speeds) // 10, -len(speeds) // 10)
    assert speeds[inside].min() > 19.0
    assert speeds.max() < 20.1


def test_a_coarser_polygon_strays_by_its_chords() -> None:
    text = "\n".join(f"G1 A{a:.6f} B{b:.6f}" for a, b in circle(1)[14 :: CORNERS // 12])
    course = Course.of(f"G61.1 F1200\n{text}", ARM)
    found = radii(course.angles[course.ends[0] :])
    assert RADIUS_DEG - found.min() == pytest.approx(
        RADIUS_DEG * (1 - math.cos(math.pi / 12)), abs=ROUNDING_DEG
    )


@pytest.fixture(scope="module")
def laps() -> Course:
    return gone_round(ARM, 2)


def second_lap(course: Course, outputs: Angles) -> Angles:
    """The first one takes up the play."""
    return outputs[course.ends[CORNERS - 1] : course.ends[2 * CORNERS - 1]]


def test_play_makes_the_quadrant_error_that_geometry_says(laps: Course) -> None:
    # Between two reversals outputs are arcs that are shifted by half of the play in each joint; a
    # joint that turned round follows again once the motor is through the play, at φ behind the
    # reversal, with cos φ = 1 − play/r. So the radius goes from −p/2 to p/2·(cos φ − sin φ).
    late = math.acos(1.0 - PLAY_DEG / RADIUS_DEG)
    expected = PLAY_DEG / 2.0 * (1.0 + math.cos(late) - math.sin(late))
    found = roundness(second_lap(laps, behind_play(laps.angles, PLAY_DEG)))
    assert found == pytest.approx(expected, abs=CHORD_DEG + 2 * ROUNDING_DEG)
    assert roundness(second_lap(laps, laps.angles)) <= TOLERANCE_DEG + CHORD_DEG + ROUNDING_DEG


def test_ends_that_are_passed_have_no_overtravel_so_the_quadrant_error_stays(laps: Course) -> None:
    sided = gone_round(with_approach(ARM, 2, direction=-1), 2)
    count = len(laps.angles)
    assert np.array_equal(sided.angles[:count], laps.angles)
    outputs = behind_play(sided.angles, PLAY_DEG)
    assert np.array_equal(outputs[:count], behind_play(laps.angles, PLAY_DEG))
    # Only where they rest in the end both stand on their side, above it by half of the play.
    assert len(sided.angles) > count
    assert outputs[-1] == pytest.approx([PLAY_DEG / 2] * 2, abs=ROUNDING_DEG)
    assert max(outputs[count - 1]) < 0.0


def test_stops_round_a_circle_are_round_again_with_overtravel() -> None:
    places = circle(1)[:: CORNERS // 20]
    text = "\n".join(f"G1 A{a:.6f} B{b:.6f}" for a, b in [*places, *places])
    plain, sided = (Course.of(f"F1200\n{text}", arm) for arm in (ARM, SIDED))
    stood = {
        name: behind_play(course.angles, PLAY_DEG)[list(course.ends)][len(places) :]
        for name, course in (("plain", plain), ("sided", sided))
    }
    assert roundness(stood["plain"]) > 0.8 * PLAY_DEG
    assert roundness(stood["sided"]) <= 2 * ROUNDING_DEG
