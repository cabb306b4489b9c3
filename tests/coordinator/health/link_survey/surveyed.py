"""Surveys of simulated links, as a coordinator at rest would make them."""

from dataclasses import replace

from coordinator.health.link_survey.exchanges import Exchanges
from coordinator.health.link_survey.joint_survey import JointSurvey, LinkFigures, joint_survey
from coordinator.health.link_survey.multicast import Questions
from coordinator.timing.exchange import Exchange
from simulator.network import PROFILES, Profile
from tests.coordinator.timing.links import Sent, over
from tests.coordinator.timing.true_clocks import TrueClock

CLOCK = TrueClock(10**9, ((0, 30),))
"""A crystal that is 30 ppm fast."""


def exchanged(
    profile: str | Profile, seed: int = 1, seconds: float = 60, clock: TrueClock = CLOCK
) -> Exchanges:
    """What a survey counts over a link."""
    found = Exchanges()
    for happened in over(profile, seed, clock, seconds):
        if isinstance(happened, Sent):
            found.sent(happened.sequence, happened.at_us)
        else:
            found.answered(happened.sequence, happened.exchange)
    return found


def surveyed(profile: str | Profile, seed: int = 1, seconds: float = 60) -> JointSurvey:
    """What is told of a link."""
    return judged(exchanged(profile, seed, seconds))


def judged(exchanges: Exchanges) -> JointSurvey:
    """The same of these exchanges, where nothing was asked by multicast."""
    return joint_survey("elbow", exchanges, Questions())


def figures_of(survey: JointSurvey) -> LinkFigures:
    """The figures of a survey that has some."""
    assert survey.figures is not None, survey.message
    return survey.figures


def with_changes(name: str, **changes: float) -> Profile:
    """A profile, but for some of its figures."""
    return replace(PROFILES[name], **changes)


def exchange(
    at_us: int, out_us: int = 1_000, back_us: int = 1_000, offset_us: float = 0.0
) -> Exchange:
    """One that is answered at once, by a clock that is so far ahead."""
    there_us = at_us + out_us
    joint_us = round(there_us + offset_us)
    return Exchange(at_us, joint_us, joint_us, there_us + back_us)
