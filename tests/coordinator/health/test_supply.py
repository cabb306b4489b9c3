"""A supply near its limit."""

from dataclasses import replace

import pytest

from coordinator.health.supply import BEGIN_AFTER_US, GONE, LOW, gone, low, short
from coordinator.health.warnings import WarningKeeper
from tests.coordinator.health.joints import S, tip


@pytest.mark.parametrize(
    ("supply_v", "bad"), [(None, None), (19.9, True), (20.0, None), (20.3, None), (20.4, False)]
)
def test_a_supply_is_low_below_its_warning_and_well_two_per_cent_above(
    supply_v: float | None, bad: bool | None
) -> None:
    # The arm file has a limit of 18 V and no warning: 18 V / 0.9 (IEC 60204-1 §4.3.3, memory).
    assert low(tip(), supply_v).bad is bad


def test_the_sentence_names_value_warning_and_limit() -> None:
    joint = replace(tip(), supply_warning_v=21.5)
    assert low(joint, 21.26).message == (
        "tip had 21.3 V when this began, below its warning at 21.5 V; below 18 V it stops"
    )


def test_what_is_below_a_limit_is_never_rounded_up_to_it() -> None:
    found = [short(tip(), volts, "").message for volts in (17.951, 17.996, 17.9999)]
    assert "to have 17.95 V; below 18 V" in found[0]
    assert "to have 17.996 V; below 18 V" in found[1]
    assert "to have just under 18 V; below 18 V" in found[2]
    joint = replace(tip(), supply_warning_v=21.5)
    assert "had 21.49 V when this began, below its warning at 21.5 V" in low(joint, 21.49).message
    assert "had 19.98 V when this began, below its warning at 20 V" in low(tip(), 19.98).message


def test_a_supply_that_sags_in_every_move_is_one_warning() -> None:
    keeper, begins = WarningKeeper(), 0
    for tenth in range(6_000):
        sags = tenth % 50 < 40  # four seconds of motion, one of rest
        now = tenth * S // 10
        changes = keeper.observe("tip", [low(tip(), 19.5 if sags else 23.5)], now)
        begins += sum(change.began for change in changes)
    assert begins == 1


def test_a_short_dip_is_no_warning() -> None:
    keeper = WarningKeeper()
    for now, volts in ((0, 19.0), (BEGIN_AFTER_US - 1, 19.0), (BEGIN_AFTER_US, 24.0)):
        assert keeper.observe("tip", [low(tip(), volts)], now) == []
    assert not keeper.stands("tip", LOW)


@pytest.mark.parametrize(
    ("supply_v", "bad"), [(None, None), (0.0, True), (0.99, True), (1.0, None), (3.0, False)]
)
def test_a_joint_that_answers_without_volts_is_no_dead_joint(
    supply_v: float | None, bad: bool | None
) -> None:
    assert gone(tip(), supply_v).bad is bad


def test_a_motor_without_supply_has_words_of_its_own_and_no_others() -> None:
    assert gone(tip(), 0.04).message == (
        "tip has no motor supply (0.0 V) while its logic answers: nothing holds it but friction, "
        "and it can sink"
    )
    assert GONE.level == "danger"
    assert "switch, fuse, plugs" in GONE.advice
    assert low(tip(), 0.04).bad is None


@pytest.mark.parametrize(
    ("expected_v", "bad"), [(None, True), (17.99, True), (18.0, None), (18.3, None), (18.4, False)]
)
def test_a_supply_is_short_where_less_than_the_limit_is_expected(
    expected_v: float | None, bad: bool | None
) -> None:
    assert short(tip(), expected_v, "").bad is bad


def test_what_is_expected_is_told_with_the_limit_and_whose_figures_it_is() -> None:
    assert short(tip(), 16.94, "all hop resistances are fitted").message == (
        "at worst, with all joints in motion, tip was expected when this began to have 16.9 V; "
        "below 18 V tip stops, and the arm with it (all hop resistances are fitted)"
    )
    assert "the supply would collapse; below 18 V" in short(tip(), None, "").message
