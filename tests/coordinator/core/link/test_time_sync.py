"""What exchanges tell of one joint's clock, and from when on they tell nothing any more."""

from coordinator.core.link.time_sync import TimeSync
from coordinator.health.lopsided import Ways
from coordinator.timing.exchange import Exchange
from protocol.clockmap import ClockMap
from protocol.states import JointState
from protocol.status import Status

OFFSET_US = 5_000_000
"""The joint's counter minus arm time."""
FORWARD_US, BACK_US = 3_000, 1_000


def exchange(sent_us: int, offset_us: int = OFFSET_US) -> Exchange:
    arrived_us = sent_us + FORWARD_US
    joint_us = arrived_us + offset_us
    return Exchange(sent_us, joint_us, joint_us, arrived_us + BACK_US)


def lock(sync: TimeSync, now: int) -> int:
    """Exchanges until the clock is believed; gives the time by then."""
    until_us = now + 60_000_000
    while not sync.clock.locked:
        now += 40_000
        assert sync.observe(exchange(now), now + FORWARD_US + BACK_US) is None
        assert now < until_us
    return now + FORWARD_US + BACK_US


def locked() -> tuple[TimeSync, int]:
    """A clock that is believed, and the time by then."""
    sync = TimeSync()
    return sync, lock(sync, 0)


def uses(clock_map: ClockMap) -> Status:
    return Status(1, 1, JointState.READY, map_number=clock_map.number)


def test_a_clock_that_contradicts_itself_tells_since_which_epoch_and_no_map_counts() -> None:
    sync, now = locked()
    clock_map = sync.clock_map(None, now, at_rest=True)
    assert clock_map is not None
    assert sync.uncertainty_us(uses(clock_map), now) is not None
    epoch = sync.clock_epoch
    stepped = exchange(now, OFFSET_US + 1_000_000)
    assert sync.observe(stepped, now + FORWARD_US + BACK_US) == epoch
    assert sync.clock_epoch == epoch + 1
    assert sync.uncertainty_us(uses(clock_map), now) is None


def test_a_permission_is_as_sure_as_the_map_in_use_or_the_one_that_is_sent_along_with_it() -> None:
    sync = TimeSync()
    assert sync.expiry_error_us(None, 0) is None
    now = lock(sync, 0)
    # Delays of 3 and 1 ms leave 4 ms open.
    unsent_us = sync.expiry_error_us(None, now)
    assert unsent_us is not None
    assert 2_000 <= unsent_us <= 4_000
    clock_map = sync.clock_map(None, now, at_rest=True)
    assert clock_map is not None
    assert sync.expiry_error_us(None, now) == unsent_us
    of_another = Status(1, 1, JointState.READY, map_number=clock_map.number + 1)
    assert sync.expiry_error_us(of_another, now) == unsent_us
    assert sync.expiry_error_us(uses(clock_map), now) == sync.uncertainty_us(uses(clock_map), now)


def test_another_boot_has_another_clock() -> None:
    sync, now = locked()
    clock, epoch = sync.clock, sync.clock_epoch
    clock_map = sync.clock_map(None, now, at_rest=True)
    assert clock_map is not None
    sync.renew()
    assert sync.clock is not clock
    assert sync.clock_epoch == epoch + 1
    assert sync.clock_map(None, now, at_rest=True) is None
    assert sync.uncertainty_us(uses(clock_map), now) is None
    # Not even the next clock makes sure of a joint that goes by a map of the last one.
    now = lock(sync, now)
    assert sync.clock_map(None, now, at_rest=True) is not None
    assert sync.uncertainty_us(uses(clock_map), now) is None


def test_a_joint_that_goes_by_no_map_that_was_sent_has_no_uncertainty() -> None:
    sync, now = locked()
    assert sync.uncertainty_us(None, now) is None
    assert sync.uncertainty_us(Status(1, 1, JointState.READY, map_number=0), now) is None


def test_the_ways_of_an_exchange_are_told_once_the_clock_is_known() -> None:
    sync = TimeSync()
    assert sync.ways(0) is None
    sync, now = locked()
    found = sync.ways(now)
    assert isinstance(found, Ways)
    assert sum((found.forward_us, found.back_us)) == FORWARD_US + BACK_US
