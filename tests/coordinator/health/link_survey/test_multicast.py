"""What becomes of multicasts to a joint, told from questions over simulated networks."""

from functools import cache
from random import Random

import pytest
from scipy.stats import binom

from coordinator.codes.survey_word import LinkFault, LinkVerdict, MulticastWord
from coordinator.health.link_survey.joint_survey import JointSurvey, joint_survey
from coordinator.health.link_survey.loss import wilson
from coordinator.health.link_survey.multicast import (
    LEAST_ASKED,
    PATIENCE_US,
    MulticastFigures,
    Questions,
    median_low,
    multicast_figures,
    other_answers,
)
from simulator.network import PROFILES, Link
from tests.coordinator.health.link_survey.surveyed import exchanged

BEACON_US = 102_400
S = 1_000_000


def asked(
    profile: str,
    seed: int,
    *,
    period: int = 0,
    loss: float = 0.0,
    passes: bool = True,
    count: int = 60,
) -> Questions:
    """So many questions, one a second, over a network of this profile.

    `period`: of beacons at which multicasts are sent, 0 for at once. `loss`: of multicasts, beside
    what frames lose anyway. `passes`: whether the network passes any.
    """
    link, draw = Link(PROFILES[profile], seed), Random(f"multicast {seed}")
    phase_us = draw.randrange(period * BEACON_US) if period else 0
    found = Questions()
    for number in range(count):
        at_us = number * S + draw.randrange(1_000)
        found.asked(number, at_us)
        kept_us = -(at_us - phase_us) % (period * BEACON_US) if period else 0
        arrives = link.forward(at_us + kept_us)[:1]
        if not passes or draw.random() < loss:
            continue
        for there_us in arrives:
            took_us = draw.randrange(200, 4_000)  # a responder's own time (assumed)
            for back_us in link.back(there_us + took_us)[:1]:
                found.answered(number, back_us)
    return found


@cache
def beside(profile: str, seed: int) -> tuple[int, float]:
    """Half of a survey's exchanges over the same kind of network take so long; the upper end of
    what they lose.
    """
    found = exchanged(profile, seed)
    trips_us = sorted(one.round_trip_us for one in found.answers)
    return trips_us[len(trips_us) // 2], wilson(found.lost, found.count)[1]


def judged(profile: str, seed: int, *, period: int = 0) -> MulticastFigures:
    """What is told of the questions beside those exchanges."""
    return multicast_figures(asked(profile, seed, period=period), *beside(profile, seed))


def surveyed(profile: str, seed: int, questions: Questions) -> JointSurvey:
    return joint_survey("elbow", exchanged(profile, seed), questions)


@pytest.mark.parametrize("profile", ["quiet", "home", "busy", "hostile"])
def test_no_network_is_said_to_lose_or_keep_back_multicasts_that_does_not(profile: str) -> None:
    words = [judged(profile, seed).word for seed in range(35)]
    assert set(words) <= {MulticastWord.USUAL, MulticastWord.MORE_LOST}
    # Losses come in rows, and then the intervals, which take them for independent, are too narrow.
    assert words.count(MulticastWord.MORE_LOST) <= 2


@pytest.mark.parametrize("profile", ["quiet", "home", "busy"])
@pytest.mark.parametrize("period", [1, 2, 3])
def test_multicasts_that_wait_for_a_beacon_are_told_and_nothing_is_to_be_done(
    profile: str, period: int
) -> None:
    found = [judged(profile, seed, period=period) for seed in range(10)]
    assert {one.word for one in found} == {MulticastWord.LATE}
    assert {one.advice for one in found} == {""}
    assert "multicasts to it are kept back: half of " in found[0].message
    half_us = period * BEACON_US / 2
    for one in found:
        assert one.p50_us is not None
        assert one.p50_us == pytest.approx(half_us, rel=0.5)


@pytest.mark.parametrize("profile", ["quiet", "home", "busy"])
def test_multicasts_of_which_half_get_lost_are_told_with_what_to_do(profile: str) -> None:
    lossy = [asked(profile, seed, loss=0.5) for seed in range(10)]
    found = [multicast_figures(one, *beside(profile, seed)) for seed, one in enumerate(lossy)]
    assert {one.word for one in found} == {MulticastWord.LOSSY}
    survey = surveyed(profile, 0, lossy[0])
    [told] = [one for one in survey.findings if one.code is LinkFault.MULTICAST]
    assert "far more than of its other messages" in told.message
    assert "`address`" in told.advice
    assert survey.verdict is not LinkVerdict.GOOD


@pytest.mark.parametrize(("lost", "count"), [(18, 60), (10, 30), (4, 60)])
def test_more_multicasts_that_are_lost_than_other_messages_are_never_told_as_all_else(
    lost: int, count: int
) -> None:
    """Of exchanges 0.1 % are lost at most; that more than 20 % of questions are is not sure."""
    found = multicast_figures(answered(count - lost, count), 2_000, 0.001)
    assert found.word is MulticastWord.MORE_LOST
    assert "more multicasts to it were lost than of its other messages" in found.message
    assert f"{lost} of {count} questions were not answered" in found.message
    assert found.advice == ""
    # Where as many other messages may be lost nothing of the kind is said.
    alike = multicast_figures(answered(count - lost, count), 2_000, 0.35)
    assert alike.word is MulticastWord.USUAL
    assert f"as far as {count} questions tell" in alike.message


def test_multicasts_that_are_kept_back_are_told_with_those_that_are_lost() -> None:
    found = multicast_figures(answered(42, 60, took_us=90_000), 2_000, 0.001)
    assert found.word is MulticastWord.LATE
    assert "18 of 60 questions were not answered" in found.message
    assert "more than of its other messages" in found.message
    few = multicast_figures(answered(59, 60, took_us=90_000), 2_000, 0.01)
    assert "1 of 60 questions were not answered" in few.message
    assert "more than of its other messages" not in few.message


def answered(answers: int, count: int, took_us: int = 3_000) -> Questions:
    """So many questions, of which so many were answered."""
    found = Questions()
    for number in range(count):
        found.asked(number, number * S)
        if number < answers:
            found.answered(number, number * S + took_us)
    return found


@pytest.mark.parametrize("profile", ["quiet", "home", "busy"])
def test_a_joint_that_answers_nothing_is_told_with_all_that_may_be_behind_it(profile: str) -> None:
    survey = surveyed(profile, 1, asked(profile, 1, passes=False))
    assert survey.multicast is not None
    assert survey.multicast.word is MulticastWord.NONE
    assert (survey.multicast.loss_high, survey.multicast.p50_us) == (1.0, None)
    [told] = [one for one in survey.findings if one.code is LinkFault.MULTICAST]
    for what in ("this computer's firewall", "the network passes no", "firmware answers none"):
        assert what in told.message
    assert told.advice.startswith("let what comes from UDP port 5353 of the joints in")
    assert "give the joint's `address`" in told.advice


def test_where_no_joint_answers_this_computers_firewall_is_told_first() -> None:
    silent = answered(0, 60)
    found = multicast_figures(silent, 2_000, 0.001, others_answer=False)
    assert found.word is MulticastWord.NONE
    assert "nor does any other joint of this survey" in found.message
    assert found.message.index("firewall") < found.message.index("the network")
    assert "most likely" in found.message


def test_where_another_joint_answers_it_is_no_firewall_of_this_computer() -> None:
    found = multicast_figures(answered(0, 60), 2_000, 0.001, others_answer=True)
    assert "firewall" not in found.message + found.advice
    assert "or the joint's firmware answers none" in found.message


def test_who_else_answers_is_told_of_those_that_were_asked() -> None:
    silent, heard, unasked = answered(0, 60), answered(1, 60), Questions()
    assert other_answers([silent, heard, unasked]) == [True, False, True]
    assert other_answers([silent, answered(0, 60)]) == [False, False]
    assert other_answers([silent, unasked]) == [None, False]
    assert other_answers([heard]) == [None]


def test_a_radio_that_sleeps_has_its_multicasts_kept_back_no_longer_than_all_else() -> None:
    """What is late already is told as power save, once."""
    survey = surveyed("power-save", 3, asked("power-save", 3))
    assert survey.multicast is not None
    assert survey.multicast.word is MulticastWord.USUAL
    assert {one.code for one in survey.findings} == {LinkFault.POWER_SAVE}


def test_too_few_questions_tell_nothing_and_say_so() -> None:
    few = asked("quiet", 1, count=LEAST_ASKED - 1)
    found = multicast_figures(few, 2_000, 0.01)
    assert found.word is MulticastWord.NOT_KNOWN
    assert "29 questions were asked, and it takes 30" in found.message
    assert multicast_figures(asked("quiet", 1, count=30), 2_000, 0.01).word is MulticastWord.USUAL
    unheard = multicast_figures(asked("quiet", 1), None, 1.0)
    assert unheard.word is MulticastWord.NOT_KNOWN
    assert "too few exchanges were answered" in unheard.message


def test_where_nobody_could_be_asked_nothing_is_counted() -> None:
    found = multicast_figures(Questions(), 2_000, 0.0)
    assert (found.word, found.asked, found.lost) == (MulticastWord.NOT_KNOWN, 0, 0)
    assert (found.loss_low, found.loss_high, found.p50_us) == (None, None, None)
    assert "not heard to announce itself" in found.message
    assert "could not send" in found.message


def test_copies_late_answers_and_those_to_nothing_that_was_asked_say_nothing() -> None:
    questions = Questions()
    questions.asked(1, 1_000)
    questions.answered(1, 3_000)
    questions.answered(1, 4_000)
    questions.answered(2, 4_000)
    questions.asked(3, 5_000)
    questions.answered(3, 5_001 + PATIENCE_US)
    assert (questions.count, questions.took_us) == (2, [2_000])


@pytest.mark.parametrize("count", [1, 5, 6, 30, 58, 60, 600])
def test_the_median_is_below_its_lower_end_as_seldom_as_the_binomial_distribution_says(
    count: int,
) -> None:
    """By SciPy's binomial distribution: it is below the k-th smallest with P(B < k)."""
    found = median_low(list(range(1, count + 1)))
    if found is None:
        assert binom.cdf(0, count, 0.5) > 0.025
        return
    assert binom.cdf(found - 1, count, 0.5) <= 0.025 < binom.cdf(found, count, 0.5)
