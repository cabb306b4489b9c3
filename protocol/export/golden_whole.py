"""Golden vectors of what is computed in whole numbers: path time and arm clock, homing's middle."""

from protocol.export.golden_bytes import RAMP, Vectors
from protocol.export.golden_motion import CHANGES, FIRST_MAP, MAPS_TAKEN, change_fields
from protocol.fixedpoint import ONE_US, WholeClock, WholeCourse, WholeRamp
from protocol.middle import middle_of, without_turns
from protocol.pathtime import RateChange


def fixedpoint_vectors() -> Vectors:
    """The same law in whole numbers, exactly as README.md has it."""
    ramp = WholeRamp(list(RAMP.rows))
    times = [0, 1, 255, 1_000 * ONE_US, 130_195 * ONE_US, 150_000 * ONE_US + 77, 828_955 * ONE_US]
    clock = WholeClock(FIRST_MAP)
    clocks: list[Vectors] = []
    for clock_map, taken_us, jump in MAPS_TAKEN:
        clock.accept(clock_map, taken_us * ONE_US, jump=jump)
        for later_us in (0, 250_000, 900_000):
            joint = (taken_us + later_us) * ONE_US
            clocks.append(
                {
                    "map_number": clock_map.number,
                    "joint": joint,
                    "arm": clock.arm(joint),
                    "remainder": clock.remainder(joint),
                    "joint_again": clock.joint(clock.arm(joint)),
                }
            )
    return {
        "about": "The law of path time and the arm clock in whole numbers: times and path times in "
        "1/256 µs, rates in ppm, by the ramp of ramp.json and the maps of clock.json. Exact: "
        "whoever computes so gets these very numbers.",
        "paths": ramp.paths,
        "ramp": [
            {"time": time, "path": path, "time_of_path": ramp.time_of_path(path)}
            for time in times
            for path in [ramp.path(time)]
        ],
        "times": [{"ppm": ppm, "time": ramp.time(ppm)} for ppm in (0, 50_000, 500_000, 1_000_000)],
        "courses": [_whole_course(change, ramp) for change in CHANGES],
        "clock": clocks,
    }


def _whole_course(change: RateChange, ramp: WholeRamp) -> Vectors:
    course = WholeCourse.of(change, ramp)
    permit = ONE_US * (change.path_us + 250_000)
    arm = course.when(permit)
    assert arm is not None
    fall = course.fall(arm, permit)
    return {
        "change": change_fields(change),
        "begin": course.begin,
        "end": course.end,
        "settled": course.settled,
        "settled_path": course.settled_path,
        "at": [
            {
                "arm": ONE_US * change.at_us + away,
                "path": course.path_at(ONE_US * change.at_us + away),
            }
            for away in (
                -1_000 * ONE_US,
                1,
                50_000 * ONE_US,
                400_000 * ONE_US + 3,
                2_000_000 * ONE_US,
            )
        ],
        "fall": {
            "permit": permit,
            "arm": arm,
            "begin": fall.begin,
            "rest": fall.settled,
            "rest_path": fall.settled_path,
        },
    }


def middle_vectors() -> Vectors:
    """From the two slow edges to the middle, the shift and what was lost."""
    turn = 16_384_000
    cases = [
        (-100_000, -112_000, 0, turn),
        (-100_000, -112_001, 0, turn),
        (100_000, 112_001, 0, turn),
        (7, 8, 500, turn),
        (-7, -8, 500, turn),
        (-8_192_000, -8_192_000, 0, turn),
        (8_192_000, 8_192_000, 0, turn),
        (24_576_000, 24_576_000, 0, turn),
        (-8_191_999, -8_191_999, 0, turn),
        (-2, -2, 0, 5),
        (2, 2, 0, 5),
        (3, 3, 0, 5),
    ]
    return {
        "about": "Whole counts. `rising` and `falling` are the slow edges in the old frame, `home` "
        "and `counts_per_turn` stand in the configuration. Half a count rounds up; half a turn "
        "lost is negative.",
        "cases": [
            {
                "rising": rising,
                "falling": falling,
                "home": home,
                "counts_per_turn": per_turn,
                "middle": middle_of(rising, falling),
                "shift": home - middle_of(rising, falling),
                "lost": without_turns(home - middle_of(rising, falling), per_turn),
            }
            for rising, falling, home, per_turn in cases
        ],
    }
