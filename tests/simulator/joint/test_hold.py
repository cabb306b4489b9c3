"""Permits, ramps, held, advance and resume (design section 5)."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocol.clockmap import ClockMap
from protocol.constants import ADVANCE_RATE_PPM, PPM, SILENCE_US
from protocol.drive import Mode
from protocol.messages import Blink, Finished, Held, Started
from protocol.pathtime import Course
from protocol.points import Point, PointsFrame
from protocol.states import JointState
from protocol.status import Reason, pack_status, unpack_status
from tests.simulator.joint.rig import MAP, RAMP, Rig, arm, go, there_and_back

S = JointState


def test_permit_ends_in_a_ramp_that_begins_at_exactly_the_permit() -> None:
    rig = Rig()
    at_us = rig.moving(permit_us=1_000_000)
    status = rig.path(at_us + 1_400_000, go(2, at_us), 1_000_000)
    assert (status.state, status.permit_us) == (S.RAMPING, 1_000_000)
    status = rig.status(at_us + 3_000_000)
    # The ramp covers its own path time from full rate.
    assert status.state is S.HELD
    assert status.path_us == round(1_000_000 + RAMP.path_us)
    assert status.permit_us == 1_000_000
    events = rig.joint.take_events()
    assert isinstance(events[0], Started)
    assert isinstance(events[1], Held)
    assert (events[1].ramp_began_us, events[1].cause) == (1_000_000, "permit")
    assert events[1].path_us == status.path_us


def test_ramp_takes_no_permit() -> None:
    rig = Rig()
    at_us = rig.moving(permit_us=1_000_000)
    status = rig.path(at_us + 1_400_000, go(2, at_us), 8_000_000)
    assert (status.state, status.permit_us, status.plan) == (S.RAMPING, 1_000_000, 0)
    assert rig.path(at_us + 3_000_000, go(2, at_us), 8_000_000).state is S.HELD


def test_newest_permit_replaces_the_older_even_when_lower() -> None:
    rig = Rig()
    at_us = rig.moving(permit_us=5_000_000)
    rig.path(at_us + 1_000_000, go(2, at_us), 4_000_000)
    rig.path(at_us + 1_100_000, go(2, at_us), 2_000_000)
    assert rig.status(at_us + 2_600_000).permit_us == 2_000_000
    assert rig.status(at_us + 4_000_000).path_us == round(2_000_000 + RAMP.path_us)


def test_joint_beyond_a_lower_permit_ramps_at_once_where_it_is() -> None:
    rig = Rig()
    at_us = rig.moving(permit_us=5_000_000)
    here_us = rig.status(at_us + 1_200_000).path_us
    status = rig.path(at_us + 1_200_000, go(2, at_us), 500_000)
    assert (status.state, status.permit_us) == (S.RAMPING, here_us)


def test_drive_without_permit_holds_a_moving_joint() -> None:
    rig = Rig()
    at_us = rig.moving()
    assert rig.path(at_us + 1_000_000, go(2, at_us)).state is S.RAMPING


@pytest.mark.parametrize("mode", [Mode.NONE, Mode.JOG, Mode.HOME, Mode.PATH])
def test_drive_of_another_mode_or_without_plan_holds_a_moving_joint(mode: Mode) -> None:
    rig = Rig()
    at_us = rig.moving()
    now = at_us + 1_000_000
    status = rig.drive(now, mode=mode, jog_velocity=1_000, homing_number=5, expiry_us=now + 250_000)
    assert status.state is S.RAMPING
    assert rig.status(now + 2_000_000).state is S.HELD


def test_silence_holds_a_moving_joint_after_a_second_and_a_half() -> None:
    rig = Rig()
    at_us = rig.moving()
    rig.path(at_us + 1_000_000, go(2, at_us), 8_000_000)
    assert rig.status(at_us + 1_000_000 + SILENCE_US - 1).state is S.MOVING
    assert rig.status(at_us + 1_000_000 + SILENCE_US).state is S.RAMPING
    rig.status(at_us + 9_000_000)
    held = rig.joint.take_events()[-1]
    assert isinstance(held, Held)
    assert held.cause == "silence"


def test_word_on_the_stream_does_not_count_for_the_silence_that_holds() -> None:
    rig = Rig()
    at_us = rig.moving()
    drive_us = at_us + 1_000_000
    rig.path(drive_us, go(2, at_us), 8_000_000)
    for later_us in range(0, SILENCE_US, 100_000):
        rig.joint.heard(rig.now(drive_us + later_us))
        assert rig.joint.request(Blink(), rig.now(drive_us + later_us)) is None
    assert rig.status(drive_us + SILENCE_US - 1).state is S.MOVING
    assert rig.status(drive_us + SILENCE_US).state is S.RAMPING
    # It does count for whether another coordinator may have the joint.
    assert rig.joint.session_refusal(bytes(16), 8, rig.now(drive_us + 4_000_000)) is not None


@pytest.mark.parametrize("when", ["pending", "slowing down", "settled"])
def test_room_for_a_ramp_is_that_of_the_fastest_rate_of_its_changes(
    when: str,
) -> None:
    """Points to 4 s only, and an override to a tenth of the speed."""
    rig = Rig()
    now = int(rig.home())
    rig.load(there_and_back(rig.status(now).position)[:2], now)
    rig.path(now, arm(1))
    at_us = now + 100_000
    full = go(2, at_us)
    assert full.change is not None
    rig.path(now, full, 8_000_000)
    now = at_us + 1_000_000
    rig.path(now, full, 8_000_000)
    ahead_us = now + 500_000
    path_us = round(Course.of(full.change, RAMP).at(ahead_us)[0])
    slower = go(3, ahead_us, 0, 100_000, path_us=path_us, before_ppm=PPM)
    room_us = int(4_000_000 - RAMP.path_us)
    assert rig.path(now, slower, 8_000_000).permit_us == room_us
    if when == "pending":
        # Withdrawn, the joint goes on at full rate and must come to rest within its points.
        rig.path(now + 100_000, go(4, at_us), 8_000_000)
        assert rig.status(now + 100_000).permit_us == room_us
        return
    after_us = 100_000 if when == "slowing down" else 900_000
    for now in range(ahead_us, ahead_us + after_us, 100_000):
        status = rig.path(now, slower, 8_000_000)
    assert status.state is S.MOVING
    assert status.permit_us == room_us


def test_permit_reaches_no_further_than_the_points_allow_a_ramp() -> None:
    rig = Rig()
    now = int(rig.home())
    points = there_and_back(rig.status(now).position)
    rig.load(points[:2], now)
    rig.path(now, arm(1))
    at_us = now + 100_000
    room_us = int(4_000_000 - RAMP.path_us)
    assert rig.path(now, go(2, at_us), 6_000_000).permit_us == room_us
    begin_us = now
    for now in range(begin_us, at_us + 2_000_000, 40_000):
        assert rig.path(now, go(2, at_us), 6_000_000).permit_us == room_us
    assert rig.joint.points(PointsFrame(5, 2, tuple(points[2:])), float(now)) is None
    assert rig.status(now).permit_us == 6_000_000
    assert rig.path(now, go(2, at_us), 8_000_000).permit_us == 8_000_000


def test_joint_whose_points_do_not_come_holds_within_those_it_has() -> None:
    rig = Rig()
    now = int(rig.home())
    points = there_and_back(rig.status(now).position)
    rig.load(points[:2], now)
    rig.path(now, arm(1))
    at_us = now + 100_000
    begin_us = now
    for now in range(begin_us, at_us + 6_000_000, 40_000):
        status = rig.path(now, go(2, at_us), 8_000_000)
        assert status.path_us <= 4_000_000
    assert status.state is S.HELD
    assert 4_000_000 - status.path_us < 10


def test_run_ends_at_the_last_point_at_exactly_its_counts() -> None:
    rig = Rig()
    at_us = rig.moving()
    for now in range(at_us, at_us + 9_000_000, 40_000):
        status = rig.path(now, go(2, at_us), 8_000_000)
    last = rig.joint.take_events()[-1]
    assert isinstance(last, Finished)
    # Full rate but for the start's ramp, which costs its own time less the path it covers.
    assert last.at_us == round(at_us + 8_000_000 + RAMP.duration_us - RAMP.path_us)
    assert (status.state, status.path_us, status.permit_us) == (S.FINISHED, 8_000_000, 8_000_000)
    assert status.position == last.position == rig.joint.position(now)[0]


def test_resume_goes_on_from_exactly_where_it_held() -> None:
    rig = Rig()
    now, path_us = rig.held()
    position = rig.status(now).position
    assert rig.path(now, arm(3, path_us)).plan == 3
    at_us = now + 100_000
    rig.path(now, go(4, at_us, path_us), 8_000_000)
    rig.joint.take_truth()
    assert rig.status(at_us).position == position
    [resume] = rig.joint.take_truth()
    assert (resume.event, resume.path_us, resume.at) == ("resume", path_us, at_us)


def test_advance_needs_an_expiry_and_goes_at_its_rate_along_the_path() -> None:
    rig = Rig()
    now, path_us = rig.held()
    goal_us = path_us + 100_000
    status = rig.drive(now, mode=Mode.PATH, plan=arm(3, goal_us))
    assert (status.state, status.reason) == (S.HELD, Reason.NONE)
    begin_us = now
    while not (status := rig.path(now, arm(4, goal_us))).plan:
        assert status.state is S.ADVANCING
        assert status.path_us <= goal_us
        now += 20_000
    assert (status.state, status.path_us, status.plan) == (S.ARMED, goal_us, 4)
    # At 5 % the 0.1 s of path take 2 s, and both ends' ramps a little more.
    rate = ADVANCE_RATE_PPM / PPM
    ramps_us = 2 * (RAMP.time(rate) - RAMP.fall_path(rate) / rate)
    assert now - begin_us == pytest.approx(100_000 / rate + ramps_us, abs=20_001)


def test_short_advance_arrives_too() -> None:
    for ahead_us in (3, 7, 300):
        rig = Rig()
        now, path_us = rig.held()
        while not (status := rig.path(now, arm(3, path_us + ahead_us))).plan:
            now += 20_000
        assert (status.state, status.path_us) == (S.ARMED, path_us + ahead_us)


@pytest.mark.parametrize("how", ["expiry", "mode", "stand", "number"])
def test_advance_ends_held_when_its_permission_does_unless_only_the_number_rises(how: str) -> None:
    rig = Rig()
    now, path_us = rig.held()
    goal_us = path_us + 100_000
    for k in range(5):
        rig.path(now + k * 40_000, arm(3, goal_us))
    now += 200_000
    if how == "expiry":
        status = rig.status(now - 40_000 + 250_000)
    elif how == "mode":
        status = rig.drive(now)
    elif how == "stand":
        status = rig.path(now, arm(4, goal_us + 1))
    else:
        assert rig.path(now, arm(4, goal_us)).state is S.ADVANCING
        return
    assert status.state is S.RAMPING
    assert rig.status(now + 2_000_000).state is S.HELD


def test_joint_that_never_started_advances_from_the_first_point() -> None:
    rig = Rig()
    now = rig.prepared()
    assert rig.path(now, arm(1, 20_000)).state is S.ADVANCING
    begin_us = now
    for now in range(begin_us, begin_us + 2_000_000, 40_000):
        status = rig.path(now, arm(1, 20_000))
    assert (status.state, status.plan, status.path_us) == (S.ARMED, 1, 20_000)


def test_joint_beyond_the_resume_says_elsewhere_and_where() -> None:
    rig = Rig()
    now, path_us = rig.held()
    status = rig.path(now, arm(3, path_us - 3))
    assert (status.state, status.reason, status.path_us) == (S.HELD, Reason.ELSEWHERE, path_us)


@given(
    rates=st.tuples(st.integers(-100_000, 100_000), st.integers(-100_000, 100_000)),
    offsets=st.tuples(st.integers(0, 10**12), st.integers(0, 10**12)),
    permit_us=st.integers(1, 7_000_000),
    after_ppm=st.integers(50_000, PPM),
)
def test_same_change_and_permit_stop_all_joints_at_exactly_the_same_path_time(
    rates: tuple[int, int], offsets: tuple[int, int], permit_us: int, after_ppm: int
) -> None:
    """Whatever their clocks: the doubles are equal, not only close."""
    ends = []
    for rate, offset_us in zip(rates, offsets, strict=True):
        rig = Rig(ClockMap(1, 0, offset_us, rate))
        now = 10_000_000
        assert rig.home(now - 9_000_000.0) < now
        position = rig.status(now).position
        rig.load(there_and_back(position), now)
        rig.path(now, arm(1))
        at_us = now + 100_000
        rig.path(now, go(2, at_us, 0, after_ppm), permit_us)
        course = Course.of(go(2, at_us, 0, after_ppm).change, RAMP)  # type: ignore[arg-type]
        end_us = course.when(permit_us)
        assert end_us is not None
        while now < end_us + 2_000_000:
            now += 500_000
            rig.path(now, go(2, at_us, 0, after_ppm), permit_us)
        truths = {truth.event: truth for truth in rig.joint.take_truth()}
        hold = truths["hold"]
        ends.append((hold.path_us, hold.position - position, rig.map.to_arm(hold.at)))
    assert ends[0][:2] == ends[1][:2]
    # Read back from joint time near 10¹² µs, an arm time keeps 10⁻⁴ µs.
    assert ends[0][2] == pytest.approx(ends[1][2], abs=1e-2)


def test_clock_map_that_jumps_while_moving_is_slewed_or_holds() -> None:
    for jump_us, state in ((4_999, S.MOVING), (5_001, S.RAMPING)):
        rig = Rig()
        at_us = rig.moving()
        now = at_us + 1_000_000
        before_us = rig.joint.path_us(now)
        new = ClockMap(2, 0, jump_us, 0)
        status = rig.drive(
            now, mode=Mode.PATH, plan=go(2, at_us), permit_us=8_000_000, clock_map=new
        )
        assert (status.state, status.map_number, status.remainder_us) == (state, 2, jump_us)
        assert rig.joint.path_us(now) == pytest.approx(before_us, abs=1e-3)


def test_outputs_of_a_point_switch_when_it_is_reached() -> None:
    rig = Rig()
    now = int(rig.home())
    begin = rig.status(now).position
    points = [
        Point(0, begin, 0, output_mask=0b011, output_values=0b001),
        Point(4_000_000, begin + 1_000_000, 0, output_mask=0b111, output_values=0b110),
        Point(8_000_000, begin, 0, True, 0b100, 0),
    ]
    rig.load(points, now)
    rig.path(now, arm(1))
    at_us = now + 100_000
    seen: list[tuple[int, int]] = []
    begin_us = now
    for now in range(begin_us, at_us + 9_000_000, 20_000):
        status = rig.drive(
            now,
            mode=Mode.PATH,
            plan=go(2, at_us),
            permit_us=8_000_000,
            output_mask=0xFF,
            output_values=0xFF,
        )
        if not seen or status.outputs != seen[-1][0]:
            seen.append((status.outputs, status.path_us // 1_000_000))
    assert [outputs for outputs, _ in seen] == [0, 0b001, 0b110, 0b010]
    assert [path_s for _, path_s in seen] == [0, 0, 4, 8]


def test_outputs_follow_the_drive_in_any_other_mode_and_stay_without_one() -> None:
    rig = Rig()
    assert rig.drive(1_000, output_mask=0b101, output_values=0b111).outputs == 0b101
    assert rig.drive(2_000).outputs == 0b101
    rig.joint.begin_session(bytes(range(16)), 77, 10_000_000.0)
    assert rig.status(10_000_000).outputs == 0b101


def test_what_is_left_of_an_older_map_is_dropped_at_rest() -> None:
    rig = Rig()
    at_us = rig.moving(permit_us=1_000_000)
    new = ClockMap(2, 0, 4_000, 0)
    plan = go(2, at_us)
    rig.drive(at_us + 500_000, mode=Mode.PATH, plan=plan, permit_us=1_000_000, clock_map=new)
    assert rig.status(at_us + 1_000_000).remainder_us == 3_900
    status = rig.status(at_us + 3_000_000)
    assert (status.state, status.remainder_us, status.map_number) == (S.HELD, 0, 2)


@pytest.mark.parametrize("way_off_us", [-(2**40), 2**40])
def test_remainder_that_no_status_can_tell_is_told_as_the_largest_that_one_can(
    way_off_us: int,
) -> None:
    rig = Rig()
    at_us = rig.moving()
    status = rig.drive(at_us + 1_000, clock_map=replace(MAP, number=2, joint_us=way_off_us))
    assert status.state is JointState.RAMPING
    assert status.remainder_us == (2**31 - 1 if way_off_us > 0 else -(2**31) + 1)
    assert unpack_status(pack_status(status)) == status
