"""A supply near its limit."""

from dataclasses import replace

import pytest

from coordinator.health.supply import BEGIN_AFTER_US, LOW, low
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
        "tip has 21.3 V, below its warning at 21.5 V; below 18 V it stops"
    )


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
