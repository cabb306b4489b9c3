"""One whole software joint in true time."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from protocol import messages
from protocol.clockmap import ClockMap
from protocol.configuration import Configuration
from protocol.constants import PPM
from protocol.drive import Drive, Mode, Plan, StopLevel, encode_drive
from protocol.frames import FrameOpener, FrameSealer
from protocol.keys import Channel, Direction, Transcript, proof, session_key
from protocol.messages import Configure, Hello, Homed, Proof, Welcome
from protocol.pathtime import RateChange
from protocol.points import Point, PointsFrame
from protocol.states import JointState
from protocol.status import Fault, Status, decode_status
from simulator.edges import next_edge
from simulator.joint.motion import toward
from simulator.physics.hall import HallSensor
from simulator.physics.heat import OPEN_CODE
from simulator.settings import JointSettings
from simulator.unit import JointUnit, share_supply
from tests.simulator.joint.rig import PER_DEGREE, configuration

KEY = bytes(range(32))
NONCE = bytes(32)
SETTINGS = JointSettings(
    id="0a1b2c3d4e5f",
    name="elbow",
    seed=3,
    counts_per_turn=360 * PER_DEGREE,
    home_centre=0,
    home_half_width=2 * PER_DEGREE,
    start_low=-60 * PER_DEGREE,
    start_high=0,
)
START_US = 5_000_000.0


class Bench:
    """A unit with a coordinator's keys."""

    def __init__(
        self, unit: JointUnit, now: float = START_US + 1.0, limits: Configuration | None = None
    ) -> None:
        self.unit = unit
        self.now = now
        self.sequence = 0
        unit.poll(now)
        unit.stream_opened(1, now, NONCE)
        hello = Hello(protocol=1, coordinator="0" * 32, session="0" * 15 + "7", nonce="1" * 64)
        [(_, data)] = unit.stream_frame(1, messages.encode(hello).decode(), now).frames
        welcome = messages.decode_opening(data)
        assert isinstance(welcome, Welcome)
        transcript = Transcript(
            bytes.fromhex("1" * 64), NONCE, bytes(16), bytes.fromhex(welcome.id), welcome.boot, 7
        )
        mine = Proof(proof=proof(KEY, Direction.TO_JOINT, transcript).hex())
        down, up = (
            session_key(KEY, transcript, Channel.STREAM, direction) for direction in Direction
        )
        self.drive_key, self.status_key = (
            session_key(KEY, transcript, Channel.DATAGRAM, direction) for direction in Direction
        )
        self.sealer = FrameSealer(down, Direction.TO_JOINT)
        self.opener = FrameOpener(up, Direction.TO_COORDINATOR)
        self.reports(unit.stream_frame(1, messages.encode(mine).decode(), now).frames)
        self.request(Configure(configuration=limits or configuration()))
        self.map = ClockMap(1, round(now), round(unit.joint_us(now)), 0)

    def reports(self, frames: tuple[tuple[int, str | bytes], ...]) -> list[object]:
        return [
            messages.decode_report(self.opener.open(frame)[1])
            for _, frame in frames
            if isinstance(frame, bytes)
        ]

    def request(self, message: messages.ToJoint) -> None:
        frame = self.sealer.seal(messages.encode(message))[1]
        reports = self.reports(self.unit.stream_frame(1, frame, self.now).frames)
        assert isinstance(reports[-1], messages.Ack), reports

    def drive(self, **fields: object) -> Status:
        self.sequence += 1
        drive = replace(
            Drive(7, self.sequence, energise=True, clock_map=self.map),
            **fields,  # type: ignore[arg-type]
        )
        reply = self.unit.datagram(encode_drive(drive, 1, self.drive_key), self.now)
        assert reply is not None
        return decode_status(self.unit.encode(reply, self.now + 30.0), self.status_key)[1]

    def wait(self, us: float, every_us: float = 1e12) -> list[object]:
        """Let time pass; the reports that came."""
        found: list[object] = []
        end = self.now + us
        while self.now < end:
            self.now = min(end, self.now + every_us)
            found += self.reports(self.unit.poll(self.now).frames)
        return found

    def home(
        self, every_us: float = 1e12, *, number: int = 1, within_us: float = 1e12
    ) -> list[object]:
        found: list[object] = []
        end = self.now + within_us
        while True:
            status = self.drive(
                mode=Mode.HOME, homing_number=number, expiry_us=round(self.now) + 250_000
            )
            if status.state is not JointState.HOMING or self.now >= end:
                return found
            found += self.wait(100_000, every_us)


def test_homing_finds_where_the_axis_truly_is() -> None:
    bench = Bench(JointUnit(SETTINGS, KEY, START_US))
    reports = bench.home()
    assert [type(report) for report in reports] == [Homed]
    status = bench.drive()
    assert status.homed
    # The sensor's middle is true 0 and home is 0, so believed is true but for rounding.
    assert bench.unit.true_position(bench.now)[0] == pytest.approx(status.position, abs=1.5)
    [truth] = bench.unit.take_truth()
    assert truth.event == "home"
    assert truth.at_ns / 1_000 <= bench.now


@settings(max_examples=25)
@given(st.lists(st.floats(1e5, 4e6), max_size=3), st.integers(0, 10**6))
def test_homing_that_was_cut_short_anywhere_can_be_done_again(
    cuts_us: list[float], seed: int
) -> None:
    """Behind the sensor too, where a search that only goes on would never meet it."""
    narrow = replace(SETTINGS, seed=seed, home_half_width=PER_DEGREE // 4)
    bench = Bench(JointUnit(narrow, KEY, START_US))
    for number, cut_us in enumerate(cuts_us, 1):
        bench.home(number=number, within_us=cut_us)
        bench.wait(2e6)
    reports = bench.home(number=9)
    assert [type(report) for report in reports][-1] is Homed
    status = bench.drive()
    assert bench.unit.true_position(bench.now)[0] == pytest.approx(status.position, abs=1.5)


def jog_to(bench: Bench, at: int) -> None:
    """Jog until about there, in counts; the joint passes its sensor where it stands."""
    direction = 1 if at > bench.drive().position else -1
    while (at - bench.drive().position) * direction > 0:
        expiry_us = round(bench.now) + 250_000
        bench.drive(mode=Mode.JOG, jog_velocity=direction * 20 * PER_DEGREE, expiry_us=expiry_us)
        bench.wait(100_000)
    bench.drive()
    bench.wait(2e6)


@settings(max_examples=25)
@given(
    at_deg=st.integers(-60, 60),
    unsure=st.sampled_from(["", "driver"]),
    direction=st.sampled_from([1, -1]),
)
def test_joint_homes_again_from_wherever_it_was_brought_on_either_side_of_its_sensor(
    at_deg: int, unsure: str, direction: int
) -> None:
    begins = sorted((-60 * PER_DEGREE * direction, 0))
    unit = JointUnit(replace(SETTINGS, start_low=begins[0], start_high=begins[1]), KEY, START_US)
    # So little travel that it cannot come to its sensor the other way round.
    homing = configuration().homing.model_copy(
        update={"direction": direction, "travel": 130 * PER_DEGREE}
    )
    bench = Bench(unit, limits=configuration(homing=homing))
    assert isinstance(bench.home()[-1], Homed)
    jog_to(bench, at_deg * PER_DEGREE)
    if unsure == "driver":
        bench.unit.fault(Fault.DRIVER, bench.now)
        # It may have lost steps, but holds.
        assert not bench.drive().homed
        bench.wait(100_000)
        bench.request(messages.Clear())
    reports = bench.home(number=2)
    assert [type(report) for report in reports] == [Homed]
    status = bench.drive()
    assert bench.unit.true_position(bench.now)[0] == pytest.approx(status.position, abs=1.5)


def test_an_output_with_play_is_behind_its_motor_however_seldom_it_is_looked_at() -> None:
    width = PER_DEGREE // 2
    outputs = []
    for every_us in (700.0, 1e12):
        bench = Bench(JointUnit(replace(SETTINGS, play_counts=width), KEY, START_US))
        bench.home()
        jog_to(bench, 30 * PER_DEGREE)
        at = bench.unit.true_position(bench.now)[0]
        assert bench.unit.true_output(bench.now) == pytest.approx(at - width / 2, abs=0.5)
        # It turns round in a moment in which nobody looks, and by less than the play.
        for speed in (5, -2):
            expiry_us = round(bench.now) + 250_000
            bench.drive(mode=Mode.JOG, jog_velocity=speed * PER_DEGREE, expiry_us=expiry_us)
            bench.wait(120_000, every_us)
        bench.drive()
        bench.wait(1e6, every_us)
        outputs.append(bench.unit.true_output(bench.now))
        assert outputs[-1] - bench.unit.true_position(bench.now)[0] > -width / 2 + 100
    assert outputs[0] == pytest.approx(outputs[1], abs=1.0)


@pytest.mark.parametrize("direction", [1, -1])
def test_homing_meets_its_edges_later_by_the_play_in_either_direction(direction: int) -> None:
    width = PER_DEGREE // 2
    begins = sorted((-60 * PER_DEGREE * direction, 0))
    unit = JointUnit(
        replace(SETTINGS, play_counts=width, start_low=begins[0], start_high=begins[1]),
        KEY,
        START_US,
    )
    homing = configuration().homing.model_copy(update={"direction": direction})
    bench = Bench(unit, limits=configuration(homing=homing))
    homed = bench.home()[-1]
    assert isinstance(homed, Homed)
    near, far = (
        [edge for edge in homed.edges if (edge.position - homed.middle) * direction * side > 0]
        for side in (-1, 1)
    )
    for edges, there in ((near, True), (far, False)):
        onward = [edge.position for edge in edges if edge.rising is there][-1]
        back = [edge.position for edge in edges if edge.rising is not there][-1]
        # Each is met within 1 count of where it is, but for rounding of counts.
        assert (onward - back) * direction == pytest.approx(width, abs=2)


def test_output_is_at_home_where_it_came_there_the_way_that_homing_searches() -> None:
    width = PER_DEGREE // 2
    bench = Bench(JointUnit(replace(SETTINGS, play_counts=width), KEY, START_US))
    bench.home()
    jog_to(bench, -30 * PER_DEGREE)
    jog_to(bench, -10 * PER_DEGREE)
    believed = bench.drive().position
    assert bench.unit.true_output(bench.now) == pytest.approx(believed, abs=2)


def test_sensor_shows_within_its_play_what_it_showed_before_a_restart() -> None:
    width = PER_DEGREE // 2
    bench = Bench(JointUnit(replace(SETTINGS, play_counts=width), KEY, START_US))
    bench.home()
    unit = bench.unit
    unit.lose_steps(bench.now, SETTINGS.home_half_width - round(unit.true_position(bench.now)[0]))
    assert unit.joint.hall_level
    unit.reboot(bench.now)
    unit.poll(bench.now + 5e6)
    assert unit.joint.hall_level


@pytest.mark.parametrize(("speed_deg_s", "slips"), [(19, False), (20, False), (21, True)])
def test_motor_that_is_too_fast_loses_whole_cycles_of_steps(speed_deg_s: int, slips: bool) -> None:
    limit = 20.5 * PER_DEGREE
    bench = Bench(JointUnit(replace(SETTINGS, slips_above=limit), KEY, START_US))
    bench.home()
    assert bench.unit.slipped == 0
    begin, told = bench.unit.true_position(bench.now)[0], bench.drive().position
    for _ in range(10):
        expiry_us = round(bench.now) + 250_000
        bench.drive(mode=Mode.JOG, jog_velocity=speed_deg_s * PER_DEGREE, expiry_us=expiry_us)
        bench.wait(100_000)
    bench.drive()
    bench.wait(2e6)
    truly = bench.unit.true_position(bench.now)[0] - begin
    lost = bench.drive().position - told - truly
    if not slips:
        assert lost == pytest.approx(0.0, abs=1.0)
        return
    assert lost > 0.0
    assert lost / SETTINGS.slip_counts == pytest.approx(round(lost / SETTINGS.slip_counts))
    # It stood for most of the second, and turned on as it came to rest.
    assert lost > 10 * PER_DEGREE


def test_truth_tells_motor_and_output() -> None:
    width = PER_DEGREE // 2
    bench = Bench(JointUnit(replace(SETTINGS, play_counts=width), KEY, START_US))
    bench.home()
    [truth] = bench.unit.take_truth()
    assert truth.event == "home"
    assert abs(truth.output_position - truth.position) == pytest.approx(width / 2, abs=1.0)
    plain = Bench(JointUnit(SETTINGS, KEY, START_US))
    plain.home()
    [truth] = plain.unit.take_truth()
    assert truth.output_position == truth.position


def test_joint_whose_drivers_were_off_does_not_go_by_where_it_met_its_sensor() -> None:
    """It was turned to the search side by hand: from there back lies its end stop."""
    bench = Bench(JointUnit(SETTINGS, KEY, START_US))
    assert isinstance(bench.home()[-1], Homed)
    jog_to(bench, 60 * PER_DEGREE)
    bench.drive(stop=StopLevel.STOP_AND_RELEASE)
    bench.wait(100_000)
    bench.unit.lose_steps(bench.now, -100 * PER_DEGREE)
    bench.drive(energise=False)
    bench.request(messages.Clear())
    began = bench.unit.true_position(bench.now)[0]
    assert began == pytest.approx(-40 * PER_DEGREE, abs=5 * PER_DEGREE)
    found, lowest = bench.home(number=2, within_us=1.0), began
    while not found:
        found = bench.home(number=2, within_us=1e5)
        lowest = min(lowest, bench.unit.true_position(bench.now)[0])
    assert isinstance(found[-1], Homed)
    assert lowest >= began - PER_DEGREE


class OnPath:
    """A homed joint that plays a path across its sensor, by values, as the rehearsal does it."""

    def __init__(self, points: list[Point], *, lost: int = 0, seed: int = 3) -> None:
        self.bench = Bench(JointUnit(replace(SETTINGS, seed=seed), KEY, START_US))
        self.bench.home()
        self.unit, self.now = self.bench.unit, round(self.bench.now)
        self.sequence = self.bench.sequence
        self.met: list[tuple[bool, float]] = []
        """Levels and true positions at which the sensor switched."""
        hall = self.unit.joint.hall

        def watched(level: bool, now: float) -> None:
            self.met.append((level, self.unit._true(self.unit.joint.position(now)[0])))
            hall(level, now)

        self.unit.joint.hall = watched  # type: ignore[method-assign]
        begin = self.unit.joint.status(self.unit.joint_us(self.now)).position
        points = [replace(point, position=point.position + begin) for point in points]
        frame = PointsFrame(5, 0, tuple(points))
        assert self.unit.by_value(self.now, lambda joint, now: joint.points(frame, now)) is None
        prepare = messages.Prepare(trajectory=5)
        assert self.unit.by_value(self.now, lambda joint, now: joint.request(prepare, now)) is None
        self.unit.lose_steps(self.now, lost)
        self.number = 0

    def drive(self, change: RateChange | None, stand_us: int, permit_us: int | None) -> Status:
        self.sequence += 1
        self.number += 1
        drive = Drive(
            7,
            self.sequence,
            mode=Mode.PATH,
            energise=True,
            clock_map=self.bench.map,
            plan=Plan(self.number, 5, stand_us, change),
            permit_us=permit_us,
        )
        status = self.unit.drive(self.now, drive)[1]
        assert status is not None
        return status

    def play(self, permits_us: list[int], rate_ppm: int = PPM, every_us: int = 40_000) -> Status:
        """From rest to each of the permits in turn, as far as the path goes."""
        status = self.drive(None, 0, None)
        for permit_us in permits_us:
            stand_us = status.path_us
            if permit_us <= stand_us:
                continue
            arm_us = round(self.unit.joint.clock.arm(self.unit.joint_us(self.now)))  # type: ignore[union-attr]
            status = self.drive(None, stand_us, None)
            change = RateChange(arm_us + 50_000, stand_us, 0, rate_ppm)
            self.number += 1
            number = self.number
            while True:
                self.number = number - 1
                status = self.drive(change, stand_us, permit_us)
                if status.state not in (JointState.ARMED, JointState.MOVING, JointState.RAMPING):
                    break
                self.now += every_us
                self.unit.poll(self.now)
            if status.state is not JointState.HELD:
                break
        return status


ACROSS = [
    Point(0, 0, 0),
    Point(2_000_000, 20 * PER_DEGREE, 0),
    Point(5_000_000, -40 * PER_DEGREE, 0),
    Point(7_000_000, -10 * PER_DEGREE, 20 * PER_DEGREE),
    Point(8_000_000, 0, 0, last=True),
]
"""Off the sensor, back over the whole of it, and back onto it, where it began."""


@settings(max_examples=30)
@given(
    st.lists(st.integers(1, 7_900_000), max_size=5).map(sorted),
    st.integers(300_000, PPM),
    st.integers(20_000, 300_000),
    st.integers(0, 10**6),
)
def test_sensor_s_edges_come_exactly_on_the_path_whatever_the_rate_and_the_holds(
    permits_us: list[int], rate_ppm: int, every_us: int, seed: int
) -> None:
    joint = OnPath(ACROSS, seed=seed)
    status = joint.play([*permits_us, 9_000_000], rate_ppm, every_us)
    assert (status.state, status.faults) == (JointState.FINISHED, Fault.NONE)
    # Two more where it was held within a microstep of an edge.
    assert [level for level, _ in joint.met][:4] == [False, True, False, True]
    for level, position in joint.met:
        assert abs(position) == pytest.approx(SETTINGS.home_half_width, abs=2.0), level


@settings(max_examples=20)
@given(
    st.integers(5_000, 60_000) | st.integers(-60_000, -5_000),
    st.lists(st.integers(1, 7_900_000), max_size=3).map(sorted),
    st.integers(300_000, PPM),
)
def test_steps_lost_are_found_where_the_path_next_meets_the_sensor_s_edge(
    lost: int, permits_us: list[int], rate_ppm: int
) -> None:
    joint = OnPath(ACROSS, lost=lost)
    status = joint.play([*permits_us, 9_000_000], rate_ppm)
    for _ in range(100):
        joint.now += 40_000
        joint.unit.poll(joint.now)
    status = joint.drive(None, 0, None)
    assert (status.state, status.faults) == (JointState.FAULTED, Fault.STEPS_LOST)
    assert not status.homed
    [(level, position)] = joint.met
    assert not level
    assert position == pytest.approx(SETTINGS.home_half_width, abs=1.0)


def test_steps_lost_in_mid_path_and_a_reboot_leave_no_edge_behind() -> None:
    joint = OnPath(ACROSS)
    joint.play([500_000])
    joint.unit.lose_steps(joint.now, 30_000)
    joint.unit.reboot(joint.now)
    joint.unit.poll(joint.now + 5e6)
    assert joint.unit.joint.hall_level is joint.unit.hall.level(
        joint.unit.true_position(joint.now + 5e6)[0]
    )


def test_scripted_faults_strike_the_axis_the_clock_and_the_sensor() -> None:
    bench = Bench(JointUnit(SETTINGS, KEY, START_US))
    unit = bench.unit
    axis, counter = unit.true_position(bench.now)[0], unit.joint_us(bench.now)
    unit.lose_steps(bench.now, 1_000)
    assert unit.true_position(bench.now)[0] == axis + 1_000
    unit.step_clock(bench.now, 250.0)
    assert unit.joint_us(bench.now) == pytest.approx(counter + 250.0)
    seen = []
    for level in (True, None):
        unit.stick_hall(bench.now, level)
        seen.append(unit.joint.hall_level)
    assert seen == [True, False]
    read = []
    for code in (OPEN_CODE, None):
        unit.sensor_code = code
        bench.wait(2e6)
        read.append(bench.drive().temperature_centi_c)
    # TMP3x data sheet (Analog Devices): 750 mV at 25 °C and 10 mV/°C, so 0 mV reads -50 °C.
    assert read == [-5_000, pytest.approx(2_500, abs=100)]
    unit.warmer_c = 40.0
    bench.wait(2e6)
    assert bench.drive().faults is Fault.OVER_TEMPERATURE


@settings(max_examples=20)
@given(st.integers(0, 10**6), st.floats(500.0, 50_000.0))
def test_polling_often_or_seldom_changes_nothing(seed: int, every_us: float) -> None:
    outcomes = []
    for step_us in (1e12, every_us):
        bench = Bench(JointUnit(replace(SETTINGS, seed=seed), KEY, START_US))
        reports = bench.home(step_us)
        reports += bench.wait(3_000_000, step_us)
        truths = bench.unit.take_truth()
        outcomes.append((reports, truths, bench.drive(), bench.unit.temperature_c(bench.now)))
    assert outcomes[0] == outcomes[1]


def test_next_deadline_is_in_true_time_and_at_most_a_second_away() -> None:
    unit = JointUnit(SETTINGS, KEY, START_US)
    now = START_US
    for _ in range(5):
        due = unit.next_deadline()
        assert now < due <= now + 1_000_100
        now = due + 1e-3
        unit.poll(now)
    assert unit.joint.status(unit.joint_us(now)).supply_mv is not None


def test_same_seed_makes_the_same_joint_and_another_a_different_one() -> None:
    first, again, other = (
        JointUnit(replace(SETTINGS, seed=seed), KEY, START_US) for seed in (1, 1, 2)
    )
    assert first.joint.identity.boot == again.joint.identity.boot
    assert first.joint_us(9e6) == again.joint_us(9e6)
    assert first.true_position(9e6) == again.true_position(9e6)
    assert first.joint_us(9e6) != other.joint_us(9e6)
    assert SETTINGS.start_low <= other.true_position(9e6)[0] <= SETTINGS.start_high


def test_clock_runs_within_the_drift_bound() -> None:
    """100 ppm for both crystals (design section 2.1)."""
    for seed in range(20):
        unit = JointUnit(replace(SETTINGS, seed=seed), KEY, START_US)
        elapsed = unit.joint_us(START_US + 1e9) - unit.joint_us(START_US)
        assert abs(elapsed - 1e9) <= 1e9 * 100e-6


def test_reboot_forgets_home_and_configuration_but_the_axis_stays() -> None:
    bench = Bench(JointUnit(SETTINGS, KEY, START_US))
    bench.home()
    unit, boot = bench.unit, bench.unit.joint.identity.boot
    before = unit.true_position(bench.now)[0]
    unit.reboot(bench.now)
    assert unit.joint.identity.boot != boot
    assert unit.true_position(bench.now + 1)[0] == pytest.approx(before)
    assert unit.joint.configuration_digest is None
    assert not unit.joint.status(unit.joint_us(bench.now + 1)).homed
    assert unit.datagram(bytes(212), bench.now + 2) is None
    again = Bench(unit, bench.now + 3)
    assert again.drive().state is JointState.UNHOMED


def test_drivers_warm_the_joint_and_the_fan_comes_on() -> None:
    warm = replace(SETTINGS, winding_ohm=8.0, ambient_c=35.0)
    bench = Bench(JointUnit(warm, KEY, START_US))
    assert bench.unit.temperature_c(bench.now) == pytest.approx(35.0, abs=0.1)
    idle_watts = bench.unit.watts
    bench.drive()
    # Holding: I²R of the windings (physics/motor.py) on top of the electronics.
    assert bench.unit.watts - idle_watts == pytest.approx(0.6**2 * 8.0)
    fans = []
    for _ in range(60):
        bench.wait(60e6)
        fans.append(bench.drive().fan_percent)
    assert fans[0] == 0
    assert 100 in fans
    status = bench.drive()
    assert status.temperature_centi_c is not None
    assert 38_00 < status.temperature_centi_c < 46_00


def test_supply_falls_along_the_chain_and_is_reported() -> None:
    units = [JointUnit(replace(SETTINGS, seed=k, hop_ohm=0.5), KEY, START_US) for k in range(3)]
    share_supply(units)
    for unit in units:
        unit.poll(START_US + 2e6)
    volts = [unit.joint.status(unit.joint_us(START_US + 2e6)).supply_mv or 0 for unit in units]
    assert 24_000 > volts[0] > volts[1] > volts[2] > 20_000
    hungry = replace(SETTINGS, idle_watts=500.0, hop_ohm=0.5)
    share_supply([dead := JointUnit(hungry, KEY, START_US)])
    assert dead.supply_v == 0.0


def test_the_sources_own_resistance_is_before_the_first_hop() -> None:
    settings = replace(SETTINGS, idle_watts=12.0, hop_ohm=0.25, source_ohm=0.25)
    share_supply(units := [JointUnit(settings, KEY, START_US), JointUnit(settings, KEY, START_US)])
    as_hop = [replace(settings, source_ohm=0.0, hop_ohm=0.5), settings]
    share_supply(alike := [JointUnit(one, KEY, START_US) for one in as_hop])
    assert [unit.supply_v for unit in units] == [unit.supply_v for unit in alike]


def test_the_way_to_a_joint_wears_as_that_joint_turns() -> None:
    worn = replace(SETTINGS, ring_wear_per_turn=0.5)
    bench = Bench(JointUnit(worn, KEY, START_US))
    bench.wait(2e6)
    bench.unit.lose_steps(bench.now, 2 * worn.counts_per_turn)  # it was turned from outside
    bench.wait(2e6)
    assert bench.unit.ring.ohm == pytest.approx(2 * worn.hop_ohm)


def test_a_motor_without_supply_draws_nothing_and_its_logic_reads_nothing() -> None:
    units = [JointUnit(replace(SETTINGS, seed=k, hop_ohm=0.5), KEY, START_US) for k in range(2)]
    units[1].supply_cut = True
    assert units[1].watts == 0.0
    share_supply(units)
    for unit in units:
        unit.poll(START_US + 2e6)
    volts = [unit.joint.status(unit.joint_us(START_US + 2e6)).supply_mv or 0 for unit in units]
    assert volts[0] > 23_900
    assert volts[1] == 0


def test_scripted_fault_stops_the_joint() -> None:
    bench = Bench(JointUnit(SETTINGS, KEY, START_US))
    bench.drive(mode=Mode.JOG, jog_velocity=PER_DEGREE, expiry_us=round(bench.now) + 250_000)
    bench.wait(100_000)
    bench.unit.fault(Fault.DRIVER, bench.now)
    bench.wait(1_000_000)
    assert bench.drive().state is JointState.FAULTED
    assert [truth.event for truth in bench.unit.take_truth()] == ["stop"]


def test_motion_that_begins_on_a_sensor_s_edge_is_seen_to_leave_it() -> None:
    sensor = HallSensor(0.0, 100.0)
    leaving = toward(0.0, 100.0, 0.0, 50.0, 10.0)
    assert sensor.level(100.0)
    edge = next_edge(leaving, sensor, 0.0, True, 0.0)
    assert edge is not None
    assert edge[1] is False
    assert 0.0 < edge[0] < 10.0
    assert next_edge(leaving, sensor, 0.0, False, edge[0]) is None
    crossing = toward(0.0, 100.0, 0.0, -50.0, 10.0)
    entered = next_edge(crossing, sensor, 0.0, True, 0.0)
    assert entered is not None
    assert entered[1] is False
    assert crossing.at(entered[0])[0] == pytest.approx(-100.0)
