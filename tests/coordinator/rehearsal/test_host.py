"""A laptop's clock."""

from hypothesis import given
from hypothesis import strategies as st

from coordinator.rehearsal.host import HostClock


@given(st.integers(-(10**12), 10**12), st.lists(st.integers(1, 10**8), max_size=4))
def test_arm_time_stands_still_while_the_laptop_sleeps(offset: int, sleeps: list[int]) -> None:
    host, true_us = HostClock(offset), 5_000_000
    for slept in sleeps:
        before = host.arm(true_us)
        true_us += slept
        host.sleep(slept)
        assert host.arm(true_us) == before
    assert host.true(host.arm(true_us)) == true_us


def test_plain_clock_is_slewed_and_arm_time_is_not() -> None:
    host = HostClock()
    host.slew(0, 500)
    assert host.slewed(2_000_000) == 1_000
    host.slew(2_000_000, -500)
    assert host.slewed(4_000_000) == 0
    assert host.arm(4_000_000) == 4_000_000
