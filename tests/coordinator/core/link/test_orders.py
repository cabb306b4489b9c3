"""What every drive to one joint carries: stops that stay until confirmed, and what clears them."""

import pytest

from coordinator.core.link.orders import Orders
from protocol.drive import StopLevel
from protocol.messages import Reject
from protocol.states import JointState
from protocol.status import Fault, Status

L = StopLevel
TOO_EARLY = Reject(ref=0, code="stop-still-asked", message="a stop is asked for still")


# A type checker does not know that a method changes what it has just seen.
def wanted(orders: Orders) -> StopLevel:
    return orders.stop_wanted


def due(orders: Orders) -> bool:
    return orders.clear_due


def status(sequence: int, stop: StopLevel = L.NONE, faults: Fault = Fault.NONE) -> Status:
    return Status(1, sequence, JointState.READY, stop=stop, faults=faults)


def stopped(level: StopLevel = L.STOP) -> Orders:
    """After three drives."""
    orders = Orders()
    for _ in range(3):
        orders.next_sequence()
    orders.stop(level, 10)
    return orders


def test_a_stop_is_carried_until_a_status_that_has_seen_it_confirms_it() -> None:
    orders = stopped()
    orders.confirmed_by(status(3, L.STOP))
    assert wanted(orders) is L.STOP, "that latch is of an older stop"
    orders.confirmed_by(status(4))
    assert wanted(orders) is L.STOP, "nothing is latched"
    orders.confirmed_by(status(4, L.STOP))
    assert wanted(orders) is L.NONE


def test_a_higher_stop_is_not_confirmed_by_a_lower_latch() -> None:
    orders = stopped(L.STOP_AND_RELEASE)
    orders.confirmed_by(status(4, L.STOP))
    assert wanted(orders) is L.STOP_AND_RELEASE


def test_a_later_lower_stop_does_not_replace_a_higher_one() -> None:
    orders = stopped(L.STOP_AND_RELEASE)
    orders.stop(L.STOP, 20)
    assert wanted(orders) is L.STOP_AND_RELEASE
    assert orders.stop_us == 20


def test_a_latch_that_is_being_cleared_confirms_no_stop() -> None:
    orders = Orders()
    orders.make_ready(status(0, L.STOP))
    orders.clear_begun()
    orders.stop(L.STOP, 10)
    orders.confirmed_by(status(1, L.STOP))
    assert wanted(orders) is L.STOP
    orders.clear_answered(None)
    orders.confirmed_by(status(2, L.STOP))
    assert wanted(orders) is L.NONE


@pytest.mark.parametrize("level", [L.STOP, L.STOP_AND_RELEASE])
def test_only_a_stop_beyond_the_first_level_takes_the_drivers_away(level: StopLevel) -> None:
    orders = Orders()
    orders.make_ready(status(0))
    orders.stop(level, 10)
    assert orders.energise == (level is L.STOP)


@pytest.mark.parametrize(
    "latched", [status(1, L.STOP), status(1, faults=Fault.DRIVER)], ids=["stop", "fault"]
)
def test_a_command_clears_what_is_latched_and_once_at_a_time(latched: Status) -> None:
    orders = Orders()
    orders.make_ready(latched)
    assert due(orders)
    orders.clear_begun()
    assert not due(orders)
    orders.clear_answered(None)
    assert not due(orders)


def test_a_clear_that_came_before_the_stops_end_is_sent_again_and_another_refusal_is_not() -> None:
    orders = Orders()
    orders.make_ready(status(1, L.STOP))
    orders.clear_begun()
    orders.clear_answered(TOO_EARLY)
    assert due(orders)
    orders.clear_begun()
    orders.clear_answered(Reject(ref=0, code="fault-stands", message="it is too hot"))
    assert not due(orders)


def test_nothing_is_cleared_where_nothing_is_latched_and_after_a_stop() -> None:
    orders = Orders()
    orders.make_ready(None)
    assert not due(orders)
    orders.make_ready(status(1))
    assert not due(orders)
    orders.make_ready(status(1, L.STOP))
    orders.stop(L.STOP, 10)
    assert not due(orders)


def test_a_new_session_numbers_drives_anew_and_keeps_the_stop_and_the_homings() -> None:
    orders = stopped()
    orders.next_homing()
    orders.let_move(5)
    orders.begin_session()
    assert wanted(orders) is L.STOP
    assert (orders.let_move_sequence, orders.let_move_us) == (0, None)
    assert (orders.next_sequence(), orders.next_homing()) == (1, 2)
    orders.confirmed_by(status(1, L.STOP))
    assert wanted(orders) is L.NONE, "the first drive of the session carried it"


def test_a_restart_takes_the_drivers_away_until_another_command() -> None:
    orders = Orders()
    orders.make_ready(None)
    orders.renew()
    assert not orders.energise
