"""One joint's link as a survey found it: figures, findings and a verdict."""

from dataclasses import dataclass
from typing import Final

from coordinator.codes.survey_word import LinkVerdict
from coordinator.health.link_survey.clock_figures import ClockFigures, clock_figures
from coordinator.health.link_survey.exchanges import Exchanges
from coordinator.health.link_survey.findings import (
    LinkFinding,
    RoundTrips,
    clock_unknown,
    findings,
    multicast_lost,
    verdict,
)
from coordinator.health.link_survey.loss import wilson
from coordinator.health.link_survey.multicast import (
    MulticastFigures,
    Questions,
    multicast_figures,
)
from coordinator.health.link_survey.power_save import PowerSave, power_save
from coordinator.health.link_survey.times import nearest_rank
from coordinator.health.link_survey.ways import Ways, clock_line, ways
from coordinator.timing.link_quality import WORST_PER_MILLE
from coordinator.timing.start_delay import wanted_start_delay_us
from protocol.constants import ACTIVE_INTERVAL_US

LEAST_SENT: Final = 200
"""Exchanges without which nothing is told: eight seconds, as `timing.link_quality` looks back."""
LEAST_ANSWERED: Final = 100
"""Without so many answers a hundredth of them is none."""


@dataclass(frozen=True, slots=True)
class LinkFigures:
    """What was measured. Round trips are told by nearest rank."""

    sent: int
    """Exchanges."""
    lost: int
    """Of these, which got no answer until a second after the last was sent, or longer."""
    loss_low: float
    """Share that is lost, 0 to 1: the lower end of its 95 % interval (Wilson) ..."""
    loss_high: float
    """... and the upper one."""
    longest_loss: int
    """The most exchanges lost in a row."""
    longest_loss_us: int
    """The longest such row, from its first exchange to the next that was answered."""
    rtt_p50_us: int
    rtt_p95_us: int
    rtt_p99_us: int
    rtt_max_us: int
    rtt_percentiles_us: tuple[int, ...]
    """From the shortest, each percentile up to the longest: 101 of them, for a picture."""
    start_delay_us: int
    """How far ahead a start would have to be set with this link at its worst in the survey."""
    forward_longer_us: float | None
    """By how much the middle way to the joint is longer than that back, if the shortest ways are
    alike; negative: shorter. None where the clock is not known."""
    forward_error_us: float | None
    """So far off can that be at most where they are not."""
    clock: ClockFigures | None
    power_save: PowerSave | None
    """None where too few exchanges were answered, or the clock is not known."""


@dataclass(frozen=True, slots=True)
class JointSurvey:
    """One joint's link."""

    joint: str
    verdict: LinkVerdict
    message: str
    """The same as a sentence."""
    findings: tuple[LinkFinding, ...]
    """What can be done something about; none where nothing has to be."""
    figures: LinkFigures | None
    """None where there are too few exchanges."""
    multicast: MulticastFigures | None = None
    """What becomes of multicasts to it; None of a coordinator that did not look for it."""


def joint_survey(
    name: str, exchanges: Exchanges, questions: Questions, others_answer: bool | None = None
) -> JointSurvey:
    """What a survey's exchanges, and its questions by multicast, say of a joint's link.

    `others_answer`: whether any other joint answers such questions (`other_answers`).
    """
    answers = exchanges.answers
    if exchanges.count < LEAST_SENT or len(answers) < LEAST_ANSWERED:
        told = (
            f"{name}: {len(answers)} of {exchanges.count} exchanges were answered, too few to tell "
            f"anything: {LEAST_SENT} must be sent and {LEAST_ANSWERED} answered"
        )
        multicast = multicast_figures(questions, None, 0.0)
        return JointSurvey(name, LinkVerdict.NOT_KNOWN, told, (), None, multicast)
    line = None if exchanges.restarted else clock_line(answers)
    both = ways(answers, line) if line is not None else None
    trips = sorted(one.round_trip_us for one in answers)
    low, high = wilson(exchanges.lost, exchanges.count)
    longest, longest_us = exchanges.longest_loss()
    slow_us = nearest_rank(trips, WORST_PER_MILLE)
    figures = LinkFigures(
        sent=exchanges.count,
        lost=exchanges.lost,
        loss_low=low,
        loss_high=high,
        longest_loss=longest,
        longest_loss_us=longest_us,
        rtt_p50_us=nearest_rank(trips, 500),
        rtt_p95_us=nearest_rank(trips, 950),
        rtt_p99_us=nearest_rank(trips, 990),
        rtt_max_us=trips[-1],
        rtt_percentiles_us=tuple(nearest_rank(trips, 10 * percent) for percent in range(101)),
        start_delay_us=wanted_start_delay_us(slow_us + max(longest_us, ACTIVE_INTERVAL_US)),
        forward_longer_us=both.forward_longer_us if both is not None else None,
        forward_error_us=float(both.shortest_us) if both is not None else None,
        clock=clock_figures(answers, line) if line is not None else None,
        power_save=power_save(both) if both is not None else None,
    )
    multicast = multicast_figures(questions, figures.rtt_p50_us, figures.loss_high, others_answer)
    return _judged(name, figures, both, multicast, restarted=exchanges.restarted)


def _judged(
    name: str,
    figures: LinkFigures,
    both: Ways | None,
    multicast: MulticastFigures,
    *,
    restarted: bool,
) -> JointSurvey:
    trips = RoundTrips(
        answered=figures.sent - figures.lost,
        p50_us=figures.rtt_p50_us,
        p99_us=figures.rtt_p99_us,
        sent=figures.sent,
        lost=figures.lost,
        loss_low=figures.loss_low,
        loss_high=figures.loss_high,
        start_delay_us=figures.start_delay_us,
    )
    unknown = () if both is not None else (clock_unknown(restarted=restarted),)
    found = (*unknown, *findings(trips, both, figures.power_save), *multicast_lost(multicast))
    word = verdict(found, figures.loss_low)
    what = "; ".join(one.message for one in found) or "nothing has to be done about it"
    if both is not None and figures.power_save is None:
        what += "; too few exchanges were answered to look for power save of its radio"
    return JointSurvey(name, word, f"{name}: its link is {word}: {what}", found, figures, multicast)
