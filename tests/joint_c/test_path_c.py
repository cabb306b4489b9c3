"""What the joint in C does along its path by itself: falls, permits, advances, the last point.

The instants of the first test are the worked example of protocol/README.md, "Course".
"""

import json
from pathlib import Path

import pytest

from tests.joint_c.step_errors import Made
from tests.joint_c.step_runs import Program

RAMP = json.loads((Path(__file__).parents[2] / "protocol" / "vectors" / "ramp.json").read_text())
ARM_US, JOINT_US = 5_000_000, 60_000_000
FALL_US = 515_824.653
STANDS, ADVANCES, MOVES, FALLS = range(4)
NOTHING, START, CHANGE, PERMIT, SWITCH, ARRIVAL, REST, LAST = range(8)
WHOLE_US = 0.02  # the law in whole numbers errs by less


class Script:
    """Lines for the program, at arm times: joint time is 55 s later, both run alike."""

    def __init__(self, program: Program, points: list[tuple[int, ...]]) -> None:
        self._program = program
        rows = " ".join(f"{time} {ppm}" for time, ppm in RAMP["rows"])
        self._text = f"ahead 0\nramp {len(RAMP['rows'])} {rows}\n"
        for point in points:
            self._text += "point {} {} {} {}\n".format(*(*point, 0)[:4])
        self._text += f"map {JOINT_US} 1 {ARM_US} {JOINT_US} 0 1\nbegin {JOINT_US}\n"

    def at(self, arm_us: int, word: str, *numbers: int) -> "Script":
        joint_us = arm_us - ARM_US + JOINT_US
        self._text += " ".join(map(str, (word, joint_us, *numbers))) + "\n"
        return self

    def made(self, arm_us: int) -> Made:
        text, self._text = self._text, ""
        return self._program.made(text + f"end {arm_us - ARM_US + JOINT_US}\n")


def long(last: bool) -> list[tuple[int, ...]]:
    """Ten seconds at 1000 counts/s in the middle."""
    inner = [(time, time // 1000 - 500, 1000) for time in range(1_000_000, 10_000_000, 1_000_000)]
    return [(0, 0, 0), *inner, (10_000_000, 9000, 0, 1 if last else 0)]


def moving(program: Program, *, last: bool = True, permit: int = 20_000_000) -> Script:
    script = Script(program, long(last))
    script.at(5_000_000, "pend", 5_000_001, 0, 0, 1_000_000)
    return script.at(5_000_000, "permit", permit)


def test_a_permit_is_met_at_full_rate_and_left_to_rest_as_the_example_has_it(
    program: Program,
) -> None:
    script = moving(program, permit=2_000_000)
    made = script.made(7_000_000)
    assert (made.phase, made.event) == (MOVES, PERMIT)
    assert made.event_arm == pytest.approx(7_313_131.347, abs=WHOLE_US)
    made = script.made(7_400_000)
    assert (made.phase, made.event) == (FALLS, REST)
    assert made.event_arm == pytest.approx(8_142_086.347, abs=WHOLE_US)
    made = script.made(8_200_000)
    assert (made.phase, made.event, made.path) == (STANDS, NOTHING, 2_515_825)


def test_an_override_takes_effect_at_its_instant_and_settles_as_the_example_has_it(
    program: Program,
) -> None:
    script = moving(program, permit=2_000_000)
    script.at(6_500_000, "pend", 7_000_001, 1_686_870, 1_000_000, 500_000)
    made = script.made(6_600_000)
    assert (made.event, made.event_arm) == (CHANGE, 7_000_001)
    # The change takes 551653.048 µs and 444208.458 µs of path, so the permit comes within it.
    made = script.made(7_500_000)
    assert made.phase == FALLS
    assert made.permit == -1


def test_a_start_without_a_permit_beyond_where_it_stands_is_missed(program: Program) -> None:
    script = Script(program, long(True)).at(5_000_000, "pend", 5_100_000, 0, 0, 1_000_000)
    made = script.made(5_050_000)
    assert (made.phase, made.event, made.event_arm) == (STANDS, START, 5_100_000)
    made = script.at(5_060_000, "permit", 0).made(6_000_000)
    assert (made.phase, made.event, len(made.at)) == (STANDS, NOTHING, 0)


def test_a_permit_that_is_lowered_behind_the_joint_makes_it_fall_at_once(program: Program) -> None:
    script = moving(program).at(7_000_000, "permit", 1_000_000)
    made = script.made(7_000_000)
    assert (made.phase, made.event, made.event_arm) == (FALLS, REST, 7_828_955)
    made = script.made(8_000_000)
    assert made.phase == STANDS
    assert made.path == round(7_000_000 - 5_000_001 - 828_955 + FALL_US + FALL_US)


def test_until_the_last_point_is_there_a_fall_has_room_in_the_buffer(program: Program) -> None:
    script = moving(program, last=False)
    made = script.made(6_500_000)
    assert made.permit == int(10_000_000 - FALL_US)
    made = script.made(20_000_000)
    assert made.phase == STANDS
    assert 10_000_000 - 2 <= made.path <= 10_000_000


def test_a_slower_pending_override_leaves_the_room_of_the_faster_rate(program: Program) -> None:
    script = moving(program, last=False)
    script.at(6_500_000, "pend", 8_000_001, 2_686_870, 1_000_000, 100_000)
    assert script.made(7_000_000).permit == int(10_000_000 - FALL_US)
    assert script.made(9_500_000).permit == int(10_000_000 - FALL_US)  # before it: 1000000


def test_a_permit_past_the_last_point_leads_to_it_without_a_ramp(program: Program) -> None:
    script = moving(program)
    made = script.made(6_500_000)
    assert (made.permit, made.event) == (20_000_000, LAST)
    assert made.event_arm == pytest.approx(10_000_000 - FALL_US + 5_828_956, abs=WHOLE_US)
    made = script.made(16_000_000)
    assert (made.phase, made.path, made.commanded) == (STANDS, 10_000_000, 9000)


def test_the_last_point_ends_a_fall_that_reaches_it(program: Program) -> None:
    script = moving(program, permit=9_700_000)
    made = script.made(15_020_000)
    assert (made.phase, made.event) == (FALLS, LAST)
    made = script.made(16_000_000)
    assert (made.phase, made.path) == (STANDS, 10_000_000)


@pytest.mark.parametrize("target", [1, 3, 400, 1_323, 50_000, 1_000_000])
def test_an_advance_arrives_exactly_by_a_twentieth_or_the_rate_that_fits(
    program: Program, target: int
) -> None:
    made = Script(program, long(True)).at(5_000_000, "advance", target).made(5_000_001)
    assert (made.phase, made.event) == (ADVANCES, ARRIVAL)
    # Up to rate 0.05 the first row's straight line holds: s = k·t, P = k·t²/2, k = 0.247616/130195.
    slope = 0.247616 / 130_195
    top = min(0.05, (slope * target) ** 0.5)
    duration = 2 * top / slope + (target - top * top / slope) / top
    assert made.event_arm - 5_000_000 == pytest.approx(
        duration, rel=1e-4, abs=max(2, WHOLE_US / top)
    )
    script = Script(program, long(True)).at(5_000_000, "advance", target)
    made = script.made(int(made.event_arm) + 1)
    assert (made.phase, made.event, made.path) == (STANDS, NOTHING, target)


def test_a_fall_in_an_advance_rests_before_its_target(program: Program) -> None:
    script = Script(program, long(True)).at(5_000_000, "advance", 100_000)
    made = script.at(5_500_000, "fall").made(6_000_000)
    slope = 0.247616 / 130_195
    rise = 0.05**2 / slope / 2
    level = (500_000 - 0.05 / slope) * 0.05
    assert made.phase == STANDS
    assert made.path == round(rise + level + rise)
