"""Jog and homing: permitted by an expiry, within range and travel (design section 5.7)."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocol.clockmap import ClockMap
from protocol.configuration import Homing
from protocol.drive import Mode, StopLevel
from protocol.messages import Faulted, Homed, HomingFailed
from protocol.states import JointState
from protocol.status import Fault, Status
from simulator.edges import next_edge
from simulator.joint.joint import Joint
from simulator.physics.hall import HallSensor
from tests.simulator.joint.rig import ACCELERATION, PER_DEGREE, VELOCITY, Rig

S = JointState


def homed() -> tuple[Rig, int]:
    rig = Rig()
    return rig, int(rig.home())


def test_jog_runs_up_at_its_own_acceleration_and_brakes_when_the_control_is_let_go() -> None:
    rig, now = homed()
    rig.jog(now, 12 * PER_DEGREE)
    # 120 °/s² for 0.1 s makes 12 °/s.
    assert rig.status(now + 50_000).velocity == pytest.approx(6 * PER_DEGREE, abs=1)
    assert rig.status(now + 100_000).velocity == 12 * PER_DEGREE
    assert rig.jog(now + 150_000, 0).state is S.STOPPING
    assert rig.status(now + 200_000).velocity == pytest.approx(6 * PER_DEGREE, abs=1)
    assert rig.status(now + 250_000).state is S.READY


def test_jog_ends_by_itself_when_its_expiry_passes() -> None:
    rig, now = homed()
    rig.jog(now, 12 * PER_DEGREE)
    assert rig.status(now + 249_999).state is S.JOGGING
    assert rig.status(now + 250_000).state is S.STOPPING
    assert rig.status(now + 350_000).state is S.READY


def test_silence_ends_a_jog_whose_expiry_lies_far_ahead() -> None:
    rig, now = homed()
    rig.drive(now, mode=Mode.JOG, jog_velocity=1_000, expiry_us=now + 10**12)
    assert rig.status(now + 1_499_999).state is S.JOGGING
    assert rig.status(now + 1_500_000).state is S.STOPPING


@given(st.integers(-(2**31), 2**31 - 1))
def test_jog_of_a_homed_joint_stops_at_the_end_of_its_range(velocity: int) -> None:
    rig, now = homed()
    limit = rig.configuration.range_high if velocity > 0 else rig.configuration.range_low
    for _ in range(400):
        now += 100_000
        status = rig.jog(now, velocity)
        assert abs(status.velocity) <= VELOCITY
        assert abs(status.position) <= 170 * PER_DEGREE
    if abs(velocity) >= 5 * PER_DEGREE:
        assert (status.state, status.position, status.velocity) == (S.JOGGING, limit, 0)


TARGETS = st.integers(-170 * PER_DEGREE, 170 * PER_DEGREE)


@given(st.lists(st.tuples(TARGETS, st.integers(-(2**31), 2**31 - 1)), min_size=1, max_size=6))
def test_jog_to_a_target_rests_exactly_there_wherever_it_was_and_however_fast(
    targets: list[tuple[int, int]],
) -> None:
    """Each target comes while the joint is still on its way to the one before."""
    rig, now = homed()
    for target, velocity in targets:
        velocity = velocity or 1
        for _ in range(7):
            now += 100_000
            assert abs(rig.jog(now, velocity, target).velocity) <= VELOCITY
    velocity = max(abs(targets[-1][1]), 30 * PER_DEGREE)
    for _ in range(150):
        now += 100_000
        status = rig.jog(now, velocity, targets[-1][0])
        assert abs(status.velocity) <= VELOCITY
    assert (status.state, status.position, status.velocity) == (S.JOGGING, targets[-1][0], 0)
    assert rig.joint.position(rig.now(now))[0] == targets[-1][0]


@pytest.mark.parametrize("ahead_deg", [0.5, -0.5, 5.0])
def test_a_joint_too_fast_to_stop_before_its_target_comes_back_by_the_same_drive(
    ahead_deg: float,
) -> None:
    """60 °/s at 120 °/s² take 15° to rest."""
    rig, now = homed()
    for _ in range(6):
        rig.jog(now, VELOCITY)
        now += 100_000
    target = rig.status(now).position + round(ahead_deg * PER_DEGREE)
    assert rig.status(now).velocity == VELOCITY
    for _ in range(20):
        status = rig.jog(now, VELOCITY, target)
        now += 100_000
    assert (status.state, status.position, status.velocity) == (S.JOGGING, target, 0)


def test_a_target_that_moves_on_by_steps_ends_at_their_exact_sum() -> None:
    rig, now = homed()
    target = begin = rig.status(now).position
    for step in (17, 1, -3, 100, 256, -7, 1):
        target += step
        now += 30_000
        rig.jog(now, PER_DEGREE, target)
    now += 200_000
    assert rig.jog(now, PER_DEGREE, target).position == begin + 365
    assert rig.jog(now + 1_000, 0).state is S.STOPPING
    assert rig.status(now + 2_000).position == begin + 365


def test_a_target_beyond_the_range_is_its_end_and_unhomed_a_target_knows_no_range() -> None:
    rig, now = homed()
    for _ in range(100):
        now += 100_000
        status = rig.jog(now, VELOCITY, 200 * PER_DEGREE)
    assert status.position == rig.configuration.range_high
    rig, now = Rig(), 2_000
    for _ in range(1_000):
        status = rig.jog(now, VELOCITY, 200 * PER_DEGREE)
        assert abs(status.velocity) <= rig.configuration.jog_unhomed
        now += 100_000
    assert status.position == 200 * PER_DEGREE


@given(TARGETS, st.integers(0, 3_000_000))
def test_on_the_way_to_a_target_the_expiry_brakes_it_as_any_jog(target: int, after: int) -> None:
    rig, now = homed()
    rig.jog(now, VELOCITY, target)
    status = rig.status(now + 250_000 + after)
    assert status.state in ((S.STOPPING, S.READY) if after < 600_000 else (S.READY,))


def test_unhomed_joint_jogs_slowly_and_without_range() -> None:
    rig = Rig()
    now = 2_000
    for _ in range(1_000):
        status = rig.jog(now, VELOCITY)
        now += 100_000
    assert status.velocity == rig.configuration.jog_unhomed
    assert status.position > 170 * PER_DEGREE
    assert not status.homed


@pytest.mark.parametrize(
    "without", ["energise", "map", "expiry", "expired", "velocity", "fault", "latched"]
)
def test_jog_needs_drivers_map_expiry_no_fault_and_no_stop(without: str) -> None:
    rig = Rig()
    now = 1_000_000
    fields: dict[str, object] = {
        "mode": Mode.JOG,
        "jog_velocity": 1_000,
        "expiry_us": now + 250_000,
    }
    if without == "energise":
        fields["energise"] = False
    elif without == "map":
        fields["clock_map"] = None
    elif without == "expiry":
        fields["expiry_us"] = None
    elif without == "expired":
        fields["expiry_us"] = now
    elif without == "velocity":
        fields["jog_velocity"] = 0
    elif without == "fault":
        rig.joint.fault(Fault.DRIVER, rig.now(now))
    else:
        rig.drive(now, stop=StopLevel.STOP)
    status = rig.drive(now, **fields)
    assert status.state in (S.UNHOMED, S.FAULTED)
    assert rig.drive(now + 1_000, mode=Mode.NONE).velocity == 0


def test_not_configured_joint_does_not_move() -> None:
    rig = Rig()
    rig.joint = Joint(rig.joint.identity)
    rig.joint.begin_session(bytes(16), 7, 0.0)
    assert rig.jog(1_000, 1_000).state is S.UNHOMED


@pytest.mark.parametrize(
    "far", [ClockMap(9, 2**47 + 1, 0, 0), ClockMap(9, 0, -(2**48), 0), ClockMap(9, 0, 0, 300_001)]
)
def test_map_that_no_clock_can_have_is_not_taken(far: ClockMap) -> None:
    rig = Rig()
    assert rig.drive(1_000).map_number == 1
    assert rig.drive(2_000, clock_map=far).map_number == 1


def test_map_0_is_none() -> None:
    rig = Rig()
    rig.drive(1_000, clock_map=ClockMap(0, 0, 0, 0))
    assert rig.joint.clock is None


# Homing


def home(
    rig: Rig, sensor: HallSensor, now: float, *, number: int = 1, begin: float = 0.0
) -> tuple[Status, float]:
    """Home with exact edges; the joint's position at boot is `begin` of the sensor's counts."""
    joint = rig.joint

    def true() -> float:
        return joint.position(now)[0] - joint.shift + begin

    joint.hall(sensor.level(true()), now)
    while True:
        status = rig.drive(now, mode=Mode.HOME, homing_number=number, expiry_us=int(now) + 250_000)
        if status.state is not S.HOMING:
            return status, now
        end = now + 100_000
        while now < end:
            offset = begin - joint.shift
            found = next_edge(joint.motion, sensor, offset, joint.hall_level, now)
            due = joint.next_deadline()
            now = min(end, end if due is None else due, end if found is None else found[0])
            if found is not None and found[0] == now:
                joint.hall(found[1], now)
            joint.poll(now)


@given(
    direction=st.sampled_from([-1, 1]),
    begin=st.floats(-60.0, 60.0),
    width=st.floats(0.5, 5.0),
    home_at=st.integers(-(10**7), 10**7),
)
def test_homing_finds_the_middle_from_either_side_and_from_on_the_sensor(
    direction: int, begin: float, width: float, home_at: int
) -> None:
    """From before the sensor, or on it: the search direction is towards it."""
    settings = Homing(
        direction=direction, travel=200 * PER_DEGREE, backoff=8 * PER_DEGREE,
        fast=20 * PER_DEGREE, slow=2 * PER_DEGREE, home=home_at,
    )  # fmt: skip
    rig = Rig(homing=settings)
    start = -direction * abs(begin) * PER_DEGREE
    sensor = HallSensor(0.0, width * PER_DEGREE)
    status, now = home(rig, sensor, 1_000.0, begin=start)
    assert (status.state, status.homed, status.homing_number) == (S.READY, True, 1)
    [homed] = rig.joint.take_events()
    assert isinstance(homed, Homed)
    assert homed.middle == pytest.approx(-start, abs=1)
    slow = [edge for edge in homed.edges if not edge.fast]
    assert [edge.rising for edge in slow] == [True, False]
    # The sensor's middle is `home` now: true position = believed − home.
    true = rig.joint.position(now)[0] - rig.joint.shift + start
    assert rig.joint.position(now)[0] - home_at == pytest.approx(true, abs=1)


def test_homing_again_moves_nothing_but_the_joint() -> None:
    rig = Rig()
    sensor = HallSensor(0.0, PER_DEGREE)
    begin = -20.0 * PER_DEGREE
    _, now = home(rig, sensor, 1_000.0, begin=begin)
    before = rig.joint.shift
    while rig.status(now).position > -10 * PER_DEGREE:
        rig.jog(now, -20 * PER_DEGREE)
        now += 100_000
    now += 1_000_000
    assert rig.drive(now).homed
    status = rig.drive(now, mode=Mode.HOME, homing_number=2, expiry_us=int(now) + 250_000)
    assert (status.state, status.homed) == (S.HOMING, False)
    status, _ = home(rig, sensor, now, number=2, begin=begin)
    assert status.homed
    assert abs(rig.joint.shift - before) <= 1


@pytest.mark.parametrize("stuck", [False, True])
def test_homing_that_does_not_find_its_edges_within_the_travel_is_a_fault(stuck: bool) -> None:
    rig = Rig()
    sensor = HallSensor(0.0, PER_DEGREE, stuck=stuck)
    status, now = home(rig, sensor, 1_000.0)
    status = rig.status(now + 1_000_000)
    assert (status.state, status.faults, status.homed) == (S.FAULTED, Fault.HALL_SENSOR, False)
    assert abs(status.position) == rig.configuration.homing.travel
    failed, fault = rig.joint.take_events()
    assert isinstance(failed, HomingFailed)
    assert isinstance(fault, Faulted)
    assert str(rig.configuration.homing.travel) in failed.message
    assert fault.fault == "hall-sensor"


@pytest.mark.parametrize("how", ["expiry", "mode", "number"])
def test_homing_is_cut_short_when_its_permission_ends(how: str) -> None:
    rig = Rig()
    now = 1_000
    for _ in range(5):
        rig.drive(now, mode=Mode.HOME, homing_number=1, expiry_us=now + 250_000)
        now += 100_000
    if how == "expiry":
        status = rig.status(now + 150_000)
    elif how == "mode":
        status = rig.drive(now)
    else:
        status = rig.drive(now, mode=Mode.HOME, homing_number=2, expiry_us=now + 250_000)
    assert status.state is S.STOPPING
    [failed] = rig.joint.take_events()
    assert isinstance(failed, HomingFailed)
    status = rig.status(now + 1_000_000)
    assert (status.state, status.homed, status.faults) == (S.UNHOMED, False, Fault.NONE)


def test_homing_number_is_obeyed_once_and_0_never() -> None:
    rig, now = homed()
    number = rig.status(now).homing_number
    for again in (number, 0):
        status = rig.drive(now, mode=Mode.HOME, homing_number=again, expiry_us=now + 250_000)
        assert (status.state, status.homed) == (S.READY, True)


def test_braking_takes_the_joint_s_own_acceleration() -> None:
    rig, now = homed()
    for k in range(10):
        rig.jog(now + k * 100_000, VELOCITY)
    now += 1_000_000
    begin = rig.joint.position(rig.now(now))[0]
    rig.drive(now)
    end = rig.joint.position(rig.now(now + 2_000_000))[0]
    assert end - begin == pytest.approx(VELOCITY**2 / (2 * ACCELERATION), rel=1e-6)
