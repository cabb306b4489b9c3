"""Single point of control: who may command motion, as a matter of values."""

import pytest

from coordinator.api.control import FREED_AFTER_US, LEFT_AFTER_US, Control, Who, who_is
from coordinator.core.events import Refused

S = 1_000_000
LAPTOP = Who("laptop-1", "a page")
PHONE = Who("phone-22", "the phone")
SCRIPT = who_is(None, None)


def refused(control: Control, who: Who, now: int, *, moving: bool = False) -> str:
    with pytest.raises(Refused) as error:
        control.command(who, now, moving=moving)
    assert error.value.code == "control"
    return error.value.message


def test_the_first_that_commands_has_control_and_others_are_told_who_and_since_when() -> None:
    control = Control()
    control.command(PHONE, 1 * S, moving=False)
    control.command(PHONE, 5 * S, moving=True)
    told = refused(control, LAPTOP, 8 * S, moving=True)
    assert told.startswith("the phone has control and commanded 3 s ago")
    refused(control, SCRIPT, 8 * S, moving=True)
    state = control.state(8 * S, moving=True)
    assert (state.name, state.since_us, state.acted_us) == ("the phone", 1 * S, 5 * S)


def test_scripts_that_give_no_id_are_one_client() -> None:
    control = Control()
    control.command(SCRIPT, 0, moving=False)
    control.command(who_is(None, "ignored"), 1, moving=False)
    assert refused(control, LAPTOP, 2).startswith("a script has control")


def test_clients_whose_ids_only_begin_alike_are_two() -> None:
    other = Who(f"{LAPTOP.id}-b", LAPTOP.name)
    assert len(LAPTOP.id) == 8
    assert other.public != LAPTOP.public
    control = Control()
    control.command(LAPTOP, 0, moving=False)
    refused(control, other, 1)
    assert not control.release(other)
    control.heard(other.id, FREED_AFTER_US - 1)
    assert control.state(FREED_AFTER_US, moving=False).holder is None
    control.command(LAPTOP, FREED_AFTER_US, moving=False)
    assert control.take(other, FREED_AFTER_US + 1, moving=False) == LAPTOP
    refused(control, LAPTOP, FREED_AFTER_US + 2)


def test_control_that_is_given_back_is_anybodys() -> None:
    control = Control()
    control.command(LAPTOP, 0, moving=False)
    assert not control.release(PHONE)
    refused(control, PHONE, 1)
    assert control.release(LAPTOP)
    assert control.state(2, moving=False).holder is None
    control.command(PHONE, 2, moving=False)


def test_control_is_freed_when_its_holder_is_silent_and_nothing_moves() -> None:
    control = Control()
    control.command(LAPTOP, 0, moving=False)
    refused(control, PHONE, FREED_AFTER_US - 1)
    control.heard(PHONE.id, FREED_AFTER_US - 1)  # somebody else's word keeps nothing
    control.command(PHONE, FREED_AFTER_US, moving=False)


def test_a_word_of_the_holder_keeps_control() -> None:
    control = Control()
    control.command(LAPTOP, 0, moving=False)
    control.heard(LAPTOP.id, 50 * S)
    refused(control, PHONE, 50 * S + FREED_AFTER_US - 1)
    control.command(PHONE, 50 * S + FREED_AFTER_US, moving=False)


def test_control_is_kept_while_the_arm_moves_whoever_is_silent() -> None:
    control = Control()
    control.command(LAPTOP, 0, moving=False)
    refused(control, PHONE, 10 * FREED_AFTER_US, moving=True)
    refused(control, PHONE, 11 * FREED_AFTER_US - 1)
    control.command(PHONE, 11 * FREED_AFTER_US, moving=False)


def test_an_open_feed_of_the_holder_keeps_control_and_a_closed_one_starts_its_time() -> None:
    control = Control()
    control.feed_opened(LAPTOP.id)
    control.feed_opened(LAPTOP.id)
    control.feed_opened(PHONE.id)
    control.command(LAPTOP, 0, moving=False)
    assert control.state(0, moving=False).watchers == 3
    control.feed_closed(LAPTOP.id, 1 * S)
    refused(control, PHONE, 500 * S)
    control.feed_closed(LAPTOP.id, 501 * S)
    refused(control, PHONE, 501 * S + LEFT_AFTER_US - 1)
    control.command(PHONE, 501 * S + LEFT_AFTER_US, moving=False)


def test_a_word_after_the_holders_feed_ended_keeps_control_as_any_word_does() -> None:
    control = Control()
    control.feed_opened(LAPTOP.id)
    control.command(LAPTOP, 0, moving=False)
    control.feed_closed(LAPTOP.id, 1 * S)
    control.heard(LAPTOP.id, 2 * S)
    refused(control, PHONE, 2 * S + FREED_AFTER_US - 1)
    control.command(PHONE, 2 * S + FREED_AFTER_US, moving=False)


def test_control_whose_holders_feed_ended_in_motion_outlives_the_motion() -> None:
    control = Control()
    control.feed_opened(LAPTOP.id)
    control.command(LAPTOP, 0, moving=False)
    control.feed_closed(LAPTOP.id, 1 * S)
    refused(control, PHONE, 900 * S, moving=True)
    refused(control, PHONE, 900 * S + FREED_AFTER_US - 1)


def test_a_feed_with_a_malformed_id_is_counted_and_keeps_no_more_than_a_scripts_control() -> None:
    control = Control()
    for client_id in ("x", "y" * 100_000, "", "ü" * 10):
        control.feed_opened(client_id)
    assert control.state(0, moving=False).watchers == 4
    assert len(control._feeds) == 1
    for client_id in ("x", "y" * 100_000, "", "ü" * 10):
        control.feed_closed(client_id, 0)
    assert control.state(0, moving=False).watchers == 0


def test_taking_over_says_from_whom_and_shuts_the_former_holder_out() -> None:
    control = Control()
    assert control.take(LAPTOP, 0, moving=False) is None
    assert control.take(PHONE, 1, moving=True) == LAPTOP
    assert control.take(PHONE, 2, moving=True) is None  # who has it takes nothing over
    refused(control, LAPTOP, 3, moving=True)
    with pytest.raises(Refused):
        control.require(LAPTOP, 3)
    control.require(PHONE, 3)


def test_what_was_begun_while_in_control_is_refused_once_control_is_given_back() -> None:
    control = Control()
    control.command(LAPTOP, 0, moving=False)
    control.release(LAPTOP)
    with pytest.raises(Refused, match="given back"):
        control.require(LAPTOP, 1)


def test_control_that_came_with_commands_goes_once_all_of_them_are_refused() -> None:
    control = Control()
    first = control.command(LAPTOP, 0, moving=False)
    second = control.command(LAPTOP, 1, moving=False)
    control.came_to_nothing(first)
    refused(control, PHONE, 2)  # the other one may be carried out yet
    control.came_to_nothing(second)
    control.command(PHONE, 3, moving=False)


@pytest.mark.parametrize("carried_out_first", [True, False])
def test_one_command_that_is_carried_out_keeps_control_whatever_is_refused(
    *, carried_out_first: bool
) -> None:
    control = Control()
    one = control.command(LAPTOP, 0, moving=False)
    other = control.command(LAPTOP, 1, moving=False)
    if carried_out_first:
        control.carried_out(one)
        control.came_to_nothing(other)
    else:
        control.came_to_nothing(other)
        control.carried_out(one)
    control.came_to_nothing(control.command(LAPTOP, 2, moving=False))
    refused(control, PHONE, 3)


def test_control_that_was_taken_explicitly_outlives_a_command_that_is_refused() -> None:
    control = Control()
    waiting = control.command(LAPTOP, 0, moving=False)
    control.take(LAPTOP, 1, moving=False)
    control.came_to_nothing(waiting)
    refused(control, PHONE, 2)


def test_a_command_that_is_refused_late_takes_nothing_from_the_next_holder() -> None:
    control = Control()
    waiting = control.command(LAPTOP, 0, moving=False)
    control.take(PHONE, 1, moving=False)
    control.came_to_nothing(waiting)
    refused(control, LAPTOP, 2)


def test_the_public_id_tells_clients_apart_and_does_not_contain_the_secret_one() -> None:
    assert LAPTOP.public != PHONE.public
    assert LAPTOP.id not in LAPTOP.public
    assert Who(LAPTOP.id, "renamed").public == LAPTOP.public


@pytest.mark.parametrize("client_id", ["", "short-1", "x" * 65, "a b c d e f", "späterer-x"])
def test_a_malformed_id_is_told_with_what_it_must_be(client_id: str) -> None:
    with pytest.raises(ValueError, match="8 to 64 letters"):
        who_is(client_id, None)


@pytest.mark.parametrize("name", ["", "x" * 41, "bell\a", "zurück"])
def test_a_malformed_name_is_told_with_what_it_must_be(name: str) -> None:
    with pytest.raises(ValueError, match="1 to 40 printable"):
        who_is("x" * 8, name)
