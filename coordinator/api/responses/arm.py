"""The arm as it is now: the core's own snapshot, with an example of the whole."""

from dataclasses import replace
from typing import Final

from coordinator.api.responses.base import ResponseModel, as_answer, eg, plain
from coordinator.api.responses.homing import HOMING
from coordinator.api.responses.run import RUN
from coordinator.codes.alarm_origin import AlarmOrigin
from coordinator.codes.alarm_state import AlarmState
from coordinator.codes.arm_phase import ArmPhase
from coordinator.codes.level import Level
from coordinator.codes.link_word import LinkWord
from coordinator.codes.priority import Priority
from coordinator.codes.sensor_state import SensorState
from coordinator.codes.update_phase import UpdatePhase
from coordinator.config.jog_speeds import JogSpeeds
from coordinator.core.condition import Condition
from coordinator.core.events import Note
from coordinator.core.homing_ways import HomingWay
from coordinator.core.snapshot.arm import ArmSnapshot
from coordinator.core.snapshot.joint import (
    ClockSnapshot,
    CountersSnapshot,
    JointSnapshot,
    SupplySnapshot,
)
from coordinator.core.snapshot.warning import (
    AlarmsSnapshot,
    FloodSnapshot,
    ShelfSnapshot,
    WarningSnapshot,
)
from coordinator.core.updating.updates import UpdateSnapshot
from coordinator.health.heat_report import Estimate, HeatReport, TimeLeft
from protocol.light import ConditionWord
from protocol.states import JointState

_JOINT: Final = JointSnapshot(
    name="elbow",
    id="joint-3",
    word="C",
    link=LinkWord.UP,
    link_message="",
    configuration_message="",
    firmware="1.4.0",
    image="5a" * 32,
    on_trial=False,
    board="bench-joint",
    image_capacity_bytes=1_900_544,
    boot="5f0c21aa",
    age_us=18_400,
    heard_at_us=81_211_642,
    range_deg=(-140.0, 140.0),
    warning_c=65.0,
    limit_c=80.0,
    microstep_deg=0.00225,
    velocity_limit_deg_s=60.0,
    jog_speeds_deg_s=JogSpeeds(1.2, 9.0, 30.0, 6.0),
    acceleration_limit_deg_s2=120.0,
    clock=ClockSnapshot(locked=True, reason="", uncertainty_us=412, rate_ppm=-13.2),
    stop_wanted=0,
    measured=True,
    worst_delay_us=31_000,
    loss=0.005,
    rtt_p50_us=2_100.0,
    rtt_p99_us=9_800.0,
    counters=CountersSnapshot(200, 1, 1, 0, 0, 0, -3),
    state=JointState.MOVING.word,
    homed=True,
    energised=True,
    wandered_deg=None,
    reduced=False,
    full_current_because="it holds a load",
    position_deg=31.42,
    velocity_deg_s=12.5,
    temperature_c=41.5,
    plausible=True,
    temperature_sensor=SensorState.SOUND,
    heat=HeatReport(
        why_not="",
        ambient_c=Estimate(27.4, 26.8, 28.0),
        rise_c=Estimate(19.2, 17.9, 20.5),
        run_rise_c=Estimate(31.0, 28.9, 33.1),
        steady_c=Estimate(46.6, 45.1, 48.1),
        time_constant_s=Estimate(1320.0, 1190.0, 1480.0),
        ten_minutes_c=Estimate(43.4, 42.7, 44.1),
        warning=TimeLeft(None, None, None),
        limit=TimeLeft(None, None, None),
        rest_share=0.0,
        run_rest_share=0.2,
        fan_on_c=45.0,
        fan_off_c=40.1,
        fan_factor=Estimate(2.9, 2.6, 3.2),
    ),
    warm=False,
    supply_v=24.1,
    supply=SupplySnapshot(
        lost=False,
        expected_v=23.2,
        expected_message="",
        hop_ohm=0.062,
        hop_uncertainty_ohm=0.009,
        hop_message="",
    ),
    fan_percent=30,
    rssi_dbm=-52,
    permit_us=1_830_000,
    path_us=1_230_000,
    buffered_us=3_100_000,
    stop=0,
    faults=(),
    outputs={"gripper": False},
    inputs={"seedling_held": False},
)
WARNING: Final = WarningSnapshot(
    id=1,
    joint="elbow",
    code="joint-warm",
    level=Level.ATTENTION,
    message="elbow is at 67.0 °C, above 65 °C",
    advice="let it rest, and see that air gets to it",
    since_us=80_500_000,
    acknowledged=False,
    state=AlarmState.UNACKNOWLEDGED,
    priority=Priority.MEDIUM,
    origin=AlarmOrigin.HEAT,
    cause="its fan is blocked",
    consequence="it gets hotter, and at its limit it stops and the arm with it",
    episode=1,
    first_out=False,
    since_utc="2026-05-01T10:00:22+00:00",
)
SHELF: Final = ShelfSnapshot(
    id=2,
    joint="wrist",
    code="link-lossy",
    who="the bench",
    until_us=3_680_500_000,
    stands=True,
    until_utc="2026-05-01T11:00:22+00:00",
)
ALARMS: Final = AlarmsSnapshot(
    returned=(replace(WARNING, id=3, joint="base", acknowledged=False, state=AlarmState.RETURNED),),
    shelved=(SHELF,),
    flood=FloodSnapshot(80_500_000, 12, {"supply": 11, "heat": 1}),
)
UPDATE: Final = UpdateSnapshot(
    joint="elbow",
    phase=UpdatePhase.DONE,
    message="elbow: 1.4.0 confirmed; it was 1.3.2",
    code="",
    before="1.3.2",
    firmware="1.4.0",
    board="bench-joint",
    size_bytes=812_336,
    sent_bytes=812_336,
    sha256="5a" * 32,
    may_be_cancelled=False,
    may_be_repeated=False,
)
UPDATING: Final = replace(
    UPDATE,
    phase=UpdatePhase.OFFERED,
    message="offering 1.4.0 to elbow",
    sent_bytes=0,
    may_be_cancelled=True,
)
CANCELLED_UPDATE: Final = replace(
    UPDATE,
    phase=UpdatePhase.CANCELLED,
    message="the update of elbow was cancelled; what came of it (65536 bytes) is kept, and does "
    "nothing",
    sent_bytes=65_536,
    may_be_repeated=True,
)
_NOTE: Final = Note(
    80_500_000,
    Level.ATTENTION,
    "joint-restarted",
    "elbow restarted and must be homed again",
    "elbow",
)
ARM: Final = ArmSnapshot(
    arm="bench arm",
    session="8f00c2d15a7be391",
    now_us=81_230_042,
    condition=Condition(ConditionWord.MOVING, "prick_out_tray.nc"),
    phase=ArmPhase.MOVING,
    busy=True,
    rests_after_us=3_460_000,
    poses={"park": {"elbow": 110.0}},
    run=RUN,
    homing=HOMING,
    homing_ways=(
        HomingWay(
            joint="elbow",
            angle_known=True,
            searches="smaller",
            travel_deg=260.0,
            on_sensor=False,
            backoff_deg=5.0,
            speed_deg_s=20.0,
            may_collide="the tray, and the lamp above it",
        ),
    ),
    homing_while_held=False,
    update=UPDATE,
    start_forecast=None,
    joints=(_JOINT,),
    warnings=(),
    alarms=ALARMS,
    unknown=(),
    notes=(_NOTE,),
)

as_answer(ArmSnapshot)
as_answer(WarningSnapshot)
as_answer(ShelfSnapshot)
as_answer(AlarmsSnapshot)
as_answer(UpdateSnapshot)


class Warnings(ResponseModel):
    """The warnings that stand, oldest first, and what else is to be told of alarms."""

    warnings: list[WarningSnapshot] = eg([plain(WARNING)])
    alarms: AlarmsSnapshot = eg(plain(ALARMS))
