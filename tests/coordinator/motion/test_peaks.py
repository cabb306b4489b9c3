"""What a plan asks of each joint at most, against the formulas of its moves."""

import pytest

from coordinator.motion import Part, plan_parts
from coordinator.motion.peaks import joint_peaks
from coordinator.programs import parse_program
from protocol.segments import check_segment, hermite
from tests.coordinator.core.kit import small_arm

ARM = small_arm()
"""Each joint has 60 °/s, 120 °/s² and 600 °/s³."""


def parts_of(text: str) -> tuple[Part, ...]:
    return plan_parts(parse_program(text, ARM.letters), ARM, [0, 0, 0])


def test_a_long_rapid_move_peaks_at_the_velocity_limit_and_at_the_plans_share_of_acceleration() -> (
    None
):
    # With room to spare a seven-segment profile reaches both of its limits, and a plan may use
    # 0.8 of the acceleration (design section 5.4).
    base, middle, tip = joint_peaks(parts_of("G0 A80\nM2\n"), ARM)
    assert base.velocity.value == pytest.approx(60.0, rel=1e-4)
    assert base.acceleration.value == pytest.approx(0.8 * 120.0, rel=1e-3)
    assert (base.velocity.limit, base.acceleration.limit) == (60.0, 120.0)
    for still in (middle, tip):
        assert (still.velocity.value, still.velocity.line) == (0.0, 0)
        assert (still.acceleration.value, still.acceleration.line) == (0.0, 0)


def test_a_feed_rate_is_shared_among_the_joints_as_the_standard_says() -> None:
    # NISTIR 6556 §2.1.2.5: A40 C30 F600 is 50° in 5 s, so A goes at 8 and C at 6 °/s.
    base, _, tip = joint_peaks(parts_of("G1 A40 C30 F600\nM2\n"), ARM)
    assert base.velocity.value == pytest.approx(8.0, rel=1e-4)
    assert tip.velocity.value == pytest.approx(6.0, rel=1e-4)


def test_the_line_named_is_the_first_of_those_that_ask_for_the_most() -> None:
    text = "G1 A10 F300\nG1 A0 F1200\nG1 A10 F600\nM0\nG1 A-10 F1200\nM2\n"
    base, _, _ = joint_peaks(parts_of(text), ARM)
    assert base.velocity.line == 2
    assert base.velocity.value == pytest.approx(20.0, rel=1e-4)


def test_no_instant_of_the_path_exceeds_the_peaks() -> None:
    parts = parts_of("G90 G94\nG0 A50 B-30 C5\nG1 A-20 B10 C-15 F2000\nG0 A0\nM2\n")
    found = joint_peaks(parts, ARM)
    before = list(parts[0].first_points())
    fastest, hardest = [0.0] * 3, [0.0] * 3
    for move in parts[0].moves():
        for k, points in enumerate(move.points):
            for point in points:
                span = point.time_us - before[k].time_us
                for share in range(11):
                    at = before[k].time_us + span * share / 10
                    _, velocity, acceleration = hermite(before[k], point, at)
                    fastest[k] = max(fastest[k], abs(velocity))
                    hardest[k] = max(hardest[k], abs(acceleration))
                assert check_segment(before[k], point, 1e9, 1e9) is None
                before[k] = point
    for joint, peaks, fast, hard in zip(ARM.joints, found, fastest, hardest, strict=True):
        scale = abs(joint.counts_per_degree)
        assert fast / scale <= peaks.velocity.value * (1 + 1e-9)
        # The largest acceleration is at an end of a segment, which is among the instants tried.
        assert hard / scale == pytest.approx(peaks.acceleration.value, rel=1e-9)
