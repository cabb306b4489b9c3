"""A joint's arm clock: an exact inverse, no jump in motion, the remainder bled at 200 ppm."""

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from protocol.clockmap import ArmClock, ClockMap
from protocol.constants import SLEW_PPM

US_RANGE = st.integers(0, 10**11)
PPB = st.integers(-100_000, 100_000)
maps = st.builds(ClockMap, st.integers(1, 100), US_RANGE, US_RANGE, PPB)
LATER = st.floats(0.0, 1e8)
# 10^11 µs in a double is good to 1.5e-5 µs; maps add a few such roundings.
ERROR_US = 1e-3


def slewing(first: ClockMap, difference_us: int, later_us: int, ppb: int) -> tuple[ArmClock, float]:
    """A clock that took, in motion, a map that differs by so much at that instant."""
    clock = ArmClock(first)
    now = first.joint_us + float(later_us)
    arm = round(clock.arm(now)) - difference_us
    clock.accept(ClockMap(first.number + 1, arm, round(now), ppb), now, jump=False)
    return clock, now


clocks = st.builds(
    slewing, maps, st.integers(-20_000, 20_000), st.integers(0, 10**8), PPB
)  # fmt: skip


@given(maps, st.floats(-1e9, 1e9))
def test_map_and_its_inverse_agree(clock_map: ClockMap, offset: float) -> None:
    arm = clock_map.arm_us + offset
    assert clock_map.to_arm(clock_map.to_joint(arm)) == pytest.approx(arm, abs=ERROR_US)


def test_rate_says_how_much_faster_joint_time_runs() -> None:
    # 50 ppm fast: in 1 s of arm time the joint counts 50 µs more.
    clock_map = ClockMap(1, 5_000_000, 900, 50_000)
    assert clock_map.to_joint(6_000_000) == pytest.approx(1_000_950.0, abs=1e-6)


@given(clocks, LATER)
def test_arm_and_joint_are_inverse_while_slewing_and_after(
    state: tuple[ArmClock, float], later: float
) -> None:
    clock, now = state
    joint = now + later
    assert clock.joint(clock.arm(joint)) == pytest.approx(joint, abs=ERROR_US)


@given(maps, maps, LATER)
def test_accepting_a_map_in_motion_moves_nothing(
    first: ClockMap, second: ClockMap, later: float
) -> None:
    clock = ArmClock(first)
    now = first.joint_us + later
    before = clock.arm(now)
    clock.accept(second, now, jump=False)
    assert clock.map == second
    assert clock.arm(now) == pytest.approx(before, abs=ERROR_US)


@given(clocks, maps, LATER, LATER)
def test_accepting_another_map_while_still_slewing_moves_nothing(
    state: tuple[ArmClock, float], third: ClockMap, wait: float, later: float
) -> None:
    clock, now = state
    before = clock.arm(now + wait)
    clock.accept(third, now + wait, jump=False)
    assert clock.arm(now + wait) == pytest.approx(before, abs=ERROR_US)
    assert clock.arm(now + wait + later) >= before - ERROR_US


@given(maps, maps, LATER)
def test_accepting_a_map_at_rest_applies_it_at_once(
    first: ClockMap, second: ClockMap, later: float
) -> None:
    clock = ArmClock(first)
    now = first.joint_us + later
    clock.accept(second, now, jump=True)
    assert clock.arm(now) == second.to_arm(now)
    assert clock.remainder_us(now) == 0.0


@given(clocks, LATER)
def test_remainder_bleeds_off_by_200_ppm_of_joint_time_and_stays_zero(
    state: tuple[ArmClock, float], later: float
) -> None:
    clock, now = state
    start = clock.remainder_us(now)
    left = clock.remainder_us(now + later)
    expected = max(0.0, abs(start) - later * 200e-6)
    assert abs(left) == pytest.approx(expected, abs=ERROR_US)
    assert left * start >= 0.0
    assert clock.arm(now + later) == pytest.approx(
        clock.map.to_arm(now + later) + left, abs=ERROR_US
    )


@given(clocks, st.floats(0.0, 1e6), st.floats(1.0, 1e6))
def test_arm_time_in_motion_always_grows_within_map_rate_and_slew(
    state: tuple[ArmClock, float], later: float, step: float
) -> None:
    clock, now = state
    run = (clock.arm(now + later + step) - clock.arm(now + later)) / step
    plain = 1.0 / (1.0 + clock.map.rate_ppb * 1e-9)
    assert abs(run - plain) <= SLEW_PPM * 1e-6 * (1 + 1e-6) + 2 * ERROR_US / step


@given(clocks)
def test_a_remainder_of_so_many_us_is_gone_after_5000_times_as_long(
    state: tuple[ArmClock, float],
) -> None:
    clock, now = state
    start = abs(clock.remainder_us(now))
    assume(start > 1.0)
    assert clock.remainder_us(now + start * 5_000 - 10_000) != 0.0
    assert clock.remainder_us(now + start * 5_000 + 1.0) == 0.0


def test_a_first_map_leaves_nothing_to_slew_off_even_before_its_own_instant() -> None:
    clock = ArmClock(ClockMap(1, 10_000_000, 5_000_000, 0))
    assert clock.remainder_us(1_000_000) == 0.0
    assert clock.arm(1_000_000) == 6_000_000.0
