"""Hypothesis strategies for every value that crosses the wire."""

from hypothesis import strategies as st
from hypothesis.strategies import SearchStrategy

from protocol.clockmap import ClockMap
from protocol.drive import Drive, Mode, Plan, StopLevel
from protocol.light import ConditionWord
from protocol.pathtime import RateChange
from protocol.points import Point, PointsFrame
from protocol.states import JointState
from protocol.status import Fault, Reason, Status

U8 = st.integers(0, 2**8 - 1)
U16 = st.integers(0, 2**16 - 1)
U32 = st.integers(0, 2**32 - 1)
U64 = st.integers(0, 2**64 - 1)
I16 = st.integers(-(2**15), 2**15 - 1)
I32 = st.integers(-(2**31), 2**31 - 1)
I53 = st.integers(-(2**53) + 1, 2**53 - 1)
RATE = st.integers(0, 1_000_000)

rate_changes = st.builds(RateChange, I53, I53, RATE, RATE)
plans = st.builds(Plan, U32, U32, I53, st.none() | rate_changes)
clock_maps = st.builds(ClockMap, U32, I53, I53, st.integers(-1_000_000, 1_000_000))
drives: SearchStrategy[Drive] = st.builds(
    Drive,
    session=U64,
    sequence=U32,
    mode=st.sampled_from(Mode),
    energise=st.booleans(),
    stop=st.sampled_from(StopLevel),
    output_mask=U8,
    output_values=U8,
    condition=st.sampled_from(ConditionWord),
    clock_map=st.none() | clock_maps,
    plan=st.none() | plans,
    permit_us=st.none() | I53,
    jog_velocity=I32,
    jog_target=st.none() | I53,
    expiry_us=st.none() | I53,
    homing_number=U32,
    full_current=st.booleans(),
)
statuses: SearchStrategy[Status] = st.builds(
    Status,
    boot=U32,
    sequence=U32,
    state=st.sampled_from(JointState),
    homed=st.booleans(),
    energised=st.booleans(),
    reduced=st.booleans(),
    stop=st.sampled_from(StopLevel),
    plan=U32,
    reason=st.sampled_from(Reason),
    permit_us=st.none() | I53,
    map_number=U32,
    remainder_us=I32,
    position=I53,
    velocity=I32,
    path_us=I53,
    trajectory=U32,
    next_index=U32,
    buffered_us=I53,
    temperature_centi_c=st.none() | I16,
    supply_mv=st.none() | U16,
    fan_percent=st.integers(0, 100),
    rssi_dbm=st.integers(-128, 127),
    faults=st.integers(0, sum(Fault)).map(Fault),
    inputs=U8,
    outputs=U8,
    touch_turn=I16,
    touch_presses=U16,
    touch_long_presses=U16,
    homing_number=U32,
    home_sensor=st.none() | st.booleans(),
)
points = st.builds(Point, I53, I53, I32, st.booleans(), U8, U8)
points_frames = st.builds(
    PointsFrame, U32, U32, st.lists(points, min_size=1, max_size=128).map(tuple)
)
