"""Golden vectors of what is computed: ramp, path time, arm clock, segments.

Numbers with a fraction are doubles printed in full. `tolerance_us` is what a joint may be off.
"""

from protocol.clockmap import ArmClock, ClockMap
from protocol.constants import CLOCK_ERROR_US, PATH_ERROR_US
from protocol.export.golden_bytes import RAMP, Vectors, point_fields
from protocol.pathtime import Course, RateChange
from protocol.points import Point
from protocol.segments import check_segment, peaks, rounding_allowance

TOLERANCE_RATE = 1e-6
SLOPE_TOLERANCE = 1e-9
"""Relative, of velocities and accelerations of a segment."""


def ramp_vectors() -> Vectors:
    """The table for v/a = 0.5 s, and points between its rows."""
    times = [0, 1_000, 65_097.5, 130_195, 150_000, 400_000.25, 828_954, 828_955]
    return {
        "about": "The ramp for a largest v/a of 0.5 s: rows of time from rest (µs) and rate (ppm).",
        "v_over_a_s": 0.5,
        "tolerance_us": PATH_ERROR_US,
        "tolerance_rate": TOLERANCE_RATE,
        "rows": [list(row) for row in RAMP.rows],
        "duration_us": RAMP.duration_us,
        "path_us": RAMP.path_us,
        "cases": [
            {"time_us": time, "rate": RAMP.rate(time), "path_us": RAMP.path(time)} for time in times
        ],
    }


CHANGES = (
    RateChange(5_010_641_000, 0, 0, 1_000_000),
    RateChange(5_013_000_000, 2_046_025, 1_000_000, 500_000),
    RateChange(5_020_000_000, 5_000_000, 50_000, 730_000),
    RateChange(5_040_000_000, 3_765_825, 0, 300_000),
    RateChange(5_050_000_000, 4_000_000, 400_000, 400_000),
)
"""A start, overrides down and up, a resume, and one that changes nothing."""


def course_vectors() -> Vectors:
    """Rate changes evaluated both ways, and falls to rest at the end of a permit."""
    return {
        "about": "Rate changes along the ramp of ramp.json. `at`: arm time to path time and rate. "
        "`when`: path time to arm time, null where it is never reached; the tolerance is of the "
        "path time at the arm time found. `fall`: the permit ends at path time `permit_us`; from "
        "there the rate falls to rest.",
        "tolerance_us": PATH_ERROR_US,
        "tolerance_rate": TOLERANCE_RATE,
        "cases": [_course(change) for change in CHANGES],
    }


def _course(change: RateChange) -> Vectors:
    course = Course.of(change, RAMP)
    offsets = (-1_000, 0, 1, 50_000, 200_000, 400_000, 828_955, 2_000_000)
    rise = course.settled_path_us - course.path_us
    paths = [
        change.path_us + ahead
        for ahead in (-500, 0, 100, round(rise / 3), round(rise) + 100_000, 3_000_000)
    ]
    permit_us = change.path_us + 250_000
    arm_us = course.when(permit_us)
    assert arm_us is not None, "every change in these vectors passes its permit"
    fall = course.fall(arm_us, permit_us)
    return {
        "change": change_fields(change),
        "settled_us": course.settled_us,
        "settled_path_us": course.settled_path_us,
        "at": [
            {"arm_us": change.at_us + d, "path_us": path, "rate": rate}
            for d in offsets
            for path, rate in [course.at(change.at_us + d)]
        ],
        "when": [{"path_us": path, "arm_us": course.when(path)} for path in paths],
        "fall": {
            "permit_us": permit_us,
            "arm_us": arm_us,
            "rate": fall.before,
            "rest_us": fall.settled_us,
            "rest_path_us": fall.settled_path_us,
        },
    }


FIRST_MAP = ClockMap(1, 5_000_000_000, 60_000_000, 20_000)
MAPS_TAKEN = [
    (ClockMap(2, 5_001_000_400, 61_000_020, 21_000), 61_000_500, False),
    (ClockMap(3, 5_002_000_100, 62_000_041, 19_000), 62_000_500, False),
    (ClockMap(4, 5_003_000_700, 63_000_060, 19_500), 63_000_500, True),
    (ClockMap(5, 5_004_000_000, 64_000_080, 18_000), 64_000_500, False),
]
"""Each with the joint time at which it is taken, and whether at rest."""


def clock_vectors() -> Vectors:
    """Maps taken at rest and in motion, and the arm clock read both ways between them."""
    clock = ArmClock(FIRST_MAP)
    cases: list[Vectors] = []
    for clock_map, taken_us, jump in MAPS_TAKEN:
        clock.accept(clock_map, taken_us, jump=jump)
        joint_times = [taken_us + later for later in (0, 250_000, 900_000)]
        cases.append(
            {
                "map": _map(clock_map),
                "taken_joint_us": taken_us,
                "at_rest": jump,
                "readings": [
                    {
                        "joint_us": joint_us,
                        "arm_us": clock.arm(joint_us),
                        "remainder_us": clock.remainder_us(joint_us),
                    }
                    for joint_us in joint_times
                ],
            }
        )
    return {
        "about": "One joint takes these maps one after another. Each reading also holds "
        "backwards: the arm clock shows `arm_us` at `joint_us`.",
        "tolerance_us": CLOCK_ERROR_US,
        "first_map": _map(FIRST_MAP),
        "cases": cases,
    }


def change_fields(change: RateChange) -> Vectors:
    """A rate change as the drive names its fields."""
    return {
        "at_us": change.at_us,
        "path_us": change.path_us,
        "before_ppm": change.before_ppm,
        "after_ppm": change.after_ppm,
    }


def _map(clock_map: ClockMap) -> Vectors:
    return {
        "number": clock_map.number,
        "arm_us": clock_map.arm_us,
        "joint_us": clock_map.joint_us,
        "rate_ppb": clock_map.rate_ppb,
    }


def segment_vectors() -> Vectors:
    """Pairs of points with the verdict of the check."""
    rest = Point(0, 0, 0)
    cases = [
        ("standing still", rest, Point(1_000_000, 0, 0), None),
        ("to rest from rest, within limits", rest, Point(1_000_000, 364_000, 0), None),
        ("at both limits exactly", rest, Point(625_000, 853_125, 2_730_000), None),
        ("acceleration within the allowance", rest, Point(100_000, 21_841, 436_800), None),
        ("acceleration beyond it", rest, Point(100_000, 21_943, 436_800), "acceleration"),
        ("peaks lawful, gain of velocity beyond", rest, Point(1_000, 2, 4_400), "acceleration"),
        ("velocity at the point", Point(0, 0, 2_730_002), Point(1_000_000, 2_730_002, 2_730_002),
         "velocity"),
        ("velocity between the points", Point(0, 0, 2_700_000),
         Point(100_000, 280_000, 2_700_000), "velocity"),
        ("too close", rest, Point(999, 0, 0), "spacing"),
        ("closest", rest, Point(1_000, 0, 0), None),
        ("turning round", Point(0, 0, 436_800), Point(200_000, 0, -436_800), None),
    ]  # fmt: skip
    velocity, acceleration = 2_730_000, 5_460_000
    return {
        "about": "Segments between two points, checked against velocity 2730000 counts/s and "
        "acceleration 5460000 counts/s². `refused` names the limit that is passed, or is null.",
        "velocity": velocity,
        "acceleration": acceleration,
        "tolerance": SLOPE_TOLERANCE,
        "cases": [_segment(name, a, b, refused, velocity, acceleration)
                  for name, a, b, refused in cases],
    }  # fmt: skip


def _segment(
    name: str, a: Point, b: Point, refused: str | None, velocity: int, acceleration: int
) -> Vectors:
    sentence = check_segment(a, b, velocity, acceleration)
    assert (sentence is None) == (refused is None), f"{name}: {sentence}"
    peak_velocity, peak_acceleration = peaks(a, b)
    more_velocity, more_acceleration = rounding_allowance(a, b)
    return {
        "name": name,
        "a": point_fields(a),
        "b": point_fields(b),
        "peak_velocity": peak_velocity,
        "peak_acceleration": peak_acceleration,
        "allowance_velocity": more_velocity,
        "allowance_acceleration": more_acceleration,
        "refused": refused,
    }
