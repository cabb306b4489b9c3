"""A radio that sleeps is found by how delays pile up, and no other link is taken for one."""

import pytest

from coordinator.codes.survey_word import LinkFault
from coordinator.health.link_survey.power_save import BEACON_US, LEAST_EXCHANGES, power_save
from coordinator.health.link_survey.ways import Ways
from tests.coordinator.health.link_survey.surveyed import figures_of, surveyed, with_changes


def _even(interval_us: int, count: int = 1500, back_us: float = 1_000.0) -> Ways:
    """Delays to a joint that are spread evenly."""
    forward = tuple(1_000.0 + interval_us * (k + 0.5) / count for k in range(count))
    return Ways(forward, tuple(back_us * (k % 2) for k in range(count)), 2_000)


@pytest.mark.parametrize("seed", range(10))
def test_a_radio_that_sleeps_between_beacons_is_found(seed: int) -> None:
    survey = surveyed("power-save", seed)
    signs = figures_of(survey).power_save
    assert signs is not None
    assert (signs.found, signs.interval_us) == (True, BEACON_US)
    [finding] = survey.findings
    assert finding.code is LinkFault.POWER_SAVE
    assert finding.message.startswith("power save is on in this joint's firmware: ")
    assert "each 102.4 ms, and round trips reach 9" in finding.message
    assert "off in the firmware" in finding.advice


@pytest.mark.parametrize("period", [2, 3])
def test_a_radio_that_listens_at_each_second_or_third_beacon_is_found(period: int) -> None:
    signs = figures_of(surveyed(with_changes("power-save", beacon_ms=102.4 * period))).power_save
    assert signs is not None
    assert (signs.found, signs.interval_us) == (True, period * BEACON_US)


@pytest.mark.parametrize("profile", ["quiet", "home", "busy"])
def test_no_other_link_is_taken_for_one_of_a_radio_that_sleeps(profile: str) -> None:
    """By the test's level one of a hundred may be, of those that are nearly alike; none is."""
    taken = 0
    for seed in range(35):
        signs = figures_of(surveyed(profile, seed)).power_save
        assert signs is not None
        taken += signs.found
    assert taken == 0


def test_what_piles_up_both_ways_is_no_radio_that_sleeps() -> None:
    sleeps, queue = power_save(_even(BEACON_US)), power_save(_even(BEACON_US, back_us=60_000.0))
    assert sleeps is not None
    assert queue is not None
    assert (sleeps.found, queue.found) == (True, False)


def test_a_radio_that_stays_awake_for_longer_than_from_one_exchange_to_the_next_is_not_seen() -> (
    None
):
    signs = figures_of(surveyed(with_changes("power-save", awake_ms=50.0))).power_save
    assert signs is not None
    assert not signs.found


def test_too_few_exchanges_tell_nothing() -> None:
    assert power_save(_even(BEACON_US, LEAST_EXCHANGES - 1)) is None
    few = power_save(_even(BEACON_US, LEAST_EXCHANGES))
    assert few is not None
    # ln(600) / 600, and its root: with three intervals at 1 % in all.
    assert few.margin == pytest.approx(0.10326, abs=1e-5)
    assert few.found
