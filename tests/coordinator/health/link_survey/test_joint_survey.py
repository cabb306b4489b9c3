"""Figures, findings and the verdict of a joint's link."""

import math

import pytest
from scipy.stats import binomtest

from coordinator.codes.survey_word import LinkFault, LinkVerdict
from coordinator.health.link_survey.exchanges import Exchanges
from tests.coordinator.health.link_survey.surveyed import (
    exchange,
    exchanged,
    figures_of,
    judged,
    surveyed,
    with_changes,
)

STEP_US = 40_000


def _counted(out_us: list[int | None], back_us: int = 1_000) -> Exchanges:
    """Exchanges that take so long to the joint; None is lost."""
    found = Exchanges()
    for k, took_us in enumerate(out_us):
        found.sent(7 + k, k * STEP_US)
        if took_us is not None:
            found.answered(7 + k, exchange(k * STEP_US, took_us, back_us))
    return found


def test_a_quiet_link_is_good_and_nothing_has_to_be_done() -> None:
    survey = surveyed("quiet")
    assert (survey.verdict, survey.findings) == (LinkVerdict.GOOD, ())
    assert survey.message == "elbow: its link is good: nothing has to be done about it"


def test_round_trips_are_told_by_nearest_rank() -> None:
    figures = figures_of(judged(_counted([k * 10 for k in range(1, 1001)])))
    # Of 1,010, 1,020 … 11,000 µs the 500th, 950th and 990th.
    told = figures.rtt_p50_us, figures.rtt_p95_us, figures.rtt_p99_us, figures.rtt_max_us
    assert told == (6_000, 10_500, 10_900, 11_000)
    percentiles = figures.rtt_percentiles_us
    assert (len(percentiles), percentiles[0], percentiles[50], percentiles[100]) == (
        101, 1_010, 6_000, 11_000,
    )  # fmt: skip


def test_loss_is_told_with_its_interval_and_its_longest_row() -> None:
    lost = {3, 4, 5, 90, 299}
    counted = _counted([None if k in lost else 1_000 for k in range(300)])
    figures = figures_of(judged(counted))
    expected = binomtest(5, 300).proportion_ci(0.95, method="wilson")
    assert (figures.sent, figures.lost) == (300, 5)
    assert (figures.loss_low, figures.loss_high) == pytest.approx((expected.low, expected.high))
    assert (figures.longest_loss, figures.longest_loss_us) == (3, 3 * STEP_US)


def test_a_copy_and_what_was_sent_before_count_for_nothing() -> None:
    counted = _counted([1_000] * 300)
    counted.answered(6, exchange(-STEP_US, 900_000))
    counted.answered(7, exchange(0, 900_000))
    figures = figures_of(judged(counted))
    assert (figures.sent, figures.lost, figures.rtt_max_us) == (300, 0, 2_000)


@pytest.mark.parametrize(("sent", "lost"), [(0, 0), (199, 0), (1500, 1401)])
def test_too_few_exchanges_give_a_sentence_and_no_figures(sent: int, lost: int) -> None:
    survey = judged(_counted([None] * lost + [1_000] * (sent - lost)))
    assert (survey.verdict, survey.figures, survey.findings) == (LinkVerdict.NOT_KNOWN, None, ())
    assert survey.message.startswith(
        f"elbow: {sent - lost} of {sent} exchanges were answered, too few to tell anything"
    )


def test_a_way_that_is_longer_than_the_other_is_told_with_how_far_off_that_can_be() -> None:
    # Alike at the shortest, and a queue in front of the joint in two of three exchanges.
    out_us: list[int | None] = [1_000 if k % 3 == 0 else 31_000 for k in range(600)]
    survey = judged(_counted(out_us))
    figures = figures_of(survey)
    assert figures.forward_longer_us == pytest.approx(30_000, abs=100)
    assert figures.forward_error_us == 2_000
    lopsided = next(one for one in survey.findings if one.code is LinkFault.LOPSIDED)
    assert lopsided.message == "messages take 30 ms longer to the joint than back (600 exchanges)"


@pytest.mark.parametrize(("profile", "off_ppm"), [("quiet", 1.0), ("home", 1.0), ("busy", 10.0)])
def test_the_rate_of_the_clock_lies_within_its_error(profile: str, off_ppm: float) -> None:
    clock = figures_of(surveyed(profile)).clock
    assert clock is not None
    assert abs(clock.rate_ppm - 30.0) <= min(clock.rate_error_ppm, off_ppm)


def test_the_stability_of_a_clock_is_not_told_where_delays_hide_it() -> None:
    clock = figures_of(surveyed("home")).clock
    assert clock is not None
    assert [(one.over_s, one.ppm) for one in clock.stability] == [(1, None), (10, None)]
    assert all(one.hidden_ppm is not None and one.hidden_ppm > 10.0 for one in clock.stability)


def test_the_stability_of_a_clock_is_told_where_it_can_be_seen() -> None:
    """A clock that swings by 1 ms each 20 s, over a link of even delays."""
    found = Exchanges()
    for k in range(1500):
        at_us = k * STEP_US
        found.sent(k, at_us)
        swing_us = 1_000.0 * math.sin(2 * math.pi * (at_us + 1_000) / 20e6)
        found.answered(k, exchange(at_us, offset_us=swing_us))
    clock = figures_of(judged(found)).clock
    assert clock is not None
    # For offsets a·sin(ωt) second differences over τ have the amplitude 4a·sin²(ωτ/2), so that the
    # deviation is 2a·sin²(ωτ/2)/τ on whole swings: 200 ppm over 10 s.
    ten = next(one for one in clock.stability if one.over_s == 10)
    assert ten.ppm == pytest.approx(200.0, rel=0.05)
    assert ten.hidden_ppm is not None
    assert ten.hidden_ppm < 1.0


def test_a_survey_too_short_for_ten_seconds_says_so_of_them_alone() -> None:
    clock = figures_of(surveyed("none", seconds=15)).clock
    assert clock is not None
    assert [one.hidden_ppm is None for one in clock.stability] == [False, True]


def test_the_clock_of_a_joint_that_restarted_is_not_told() -> None:
    counted = exchanged("quiet")
    counted.restarted = True
    figures = figures_of(judged(counted))
    assert (figures.clock, figures.forward_longer_us, figures.power_save) == (None, None, None)
    assert figures.rtt_p50_us > 0


def test_a_joint_that_restarted_meanwhile_is_not_good_and_that_is_told() -> None:
    counted = exchanged("quiet")
    counted.restarted = True
    survey = judged(counted)
    assert survey.verdict is LinkVerdict.USABLE
    (found,) = survey.findings
    assert found.code is LinkFault.CLOCK
    assert found.message == (
        "it restarted meanwhile: its clock, power save of its radio and a way that is longer than "
        "the other were not looked for"
    )
    assert "its supply" in found.advice


def test_a_clock_that_was_stepped_is_not_told() -> None:
    found = Exchanges()
    for k in range(600):
        found.sent(k, k * STEP_US)
        found.answered(k, exchange(k * STEP_US, offset_us=0 if k < 300 else -900_000))
    survey = judged(found)
    assert figures_of(survey).clock is None
    assert survey.verdict is LinkVerdict.USABLE
    assert [one.code for one in survey.findings] == [LinkFault.CLOCK]
    assert survey.findings[0].message.startswith("its clock does not keep to one rate")


def test_what_a_short_survey_could_not_look_for_is_told() -> None:
    """250 exchanges, where power save needs 300."""
    told = surveyed("quiet", seconds=10).message
    assert told == (
        "elbow: its link is good: nothing has to be done about it; too few exchanges were answered "
        "to look for power save of its radio"
    )


@pytest.mark.parametrize(
    ("profile", "verdict", "faults"),
    [
        ("home", LinkVerdict.GOOD, set()),
        ("busy", LinkVerdict.USABLE, {LinkFault.CROWDED, LinkFault.LOSS}),
        ("power-save", LinkVerdict.USABLE, {LinkFault.POWER_SAVE}),
    ],
)
def test_each_kind_of_network_gets_its_verdict(
    profile: str, verdict: LinkVerdict, faults: set[LinkFault]
) -> None:
    survey = surveyed(profile, 3)
    assert survey.verdict is verdict
    assert {one.code for one in survey.findings} == faults
    assert all(one.message and one.advice for one in survey.findings)


def test_a_network_on_which_starts_are_refused_is_poor() -> None:
    survey = surveyed("hostile", 3)
    assert survey.verdict is LinkVerdict.POOR
    [start] = [one for one in survey.findings if one.code is LinkFault.START]
    assert "1450 ms are possible: starts are likely to be refused" in start.message


def test_a_slow_network_is_told_as_one() -> None:
    survey = surveyed(with_changes("quiet", base_forward_ms=30.0, base_back_ms=30.0))
    assert [one.code for one in survey.findings] == [LinkFault.LONG]
    assert survey.findings[0].message.startswith("half of 14")
