"""A survey of links, with examples of the whole."""

from dataclasses import replace
from typing import Final

from coordinator.api.responses.base import as_answer
from coordinator.codes.survey_word import LinkFault, LinkVerdict, MulticastWord, SurveyPhase
from coordinator.core.surveying import NO_MORE, SurveySnapshot
from coordinator.health.link_survey.clock_figures import ClockFigures, Stability
from coordinator.health.link_survey.findings import LinkFinding
from coordinator.health.link_survey.joint_survey import JointSurvey, LinkFigures
from coordinator.health.link_survey.multicast import MulticastFigures
from coordinator.health.link_survey.power_save import PowerSave

_SLEEPS: Final = (
    "power save is on in this joint's firmware: what is sent to it waits for a beacon, each 102.4 "
    "ms, and round trips reach 92 ms (1495 exchanges)"
)
SURVEY: Final = SurveySnapshot(
    phase=SurveyPhase.DONE,
    message="done, 1500 exchanges in 60 s",
    joints=("elbow", "wrist"),
    for_s=60.0,
    left_s=0.0,
    exchanges=1500,
    results=(
        JointSurvey(
            joint="elbow",
            verdict=LinkVerdict.USABLE,
            message=f"elbow: its link is usable: {_SLEEPS}",
            findings=(
                LinkFinding(
                    LinkFault.POWER_SAVE,
                    _SLEEPS,
                    "switch power save of its radio off in the firmware, so that it listens always",
                ),
            ),
            figures=LinkFigures(
                sent=1500,
                lost=5,
                loss_low=0.0014,
                loss_high=0.0078,
                longest_loss=1,
                longest_loss_us=40_000,
                rtt_p50_us=42_140,
                rtt_p95_us=88_313,
                rtt_p99_us=91_775,
                rtt_max_us=102_920,
                rtt_percentiles_us=tuple(1_800 + 1_011 * percent for percent in range(101)),
                start_delay_us=277_518,
                forward_longer_us=39_953.7,
                forward_error_us=1_300.0,
                clock=ClockFigures(
                    rate_ppm=30.3,
                    rate_error_ppm=22.9,
                    stability=(Stability(1, None, 443.0), Stability(10, None, 41.5)),
                ),
                power_save=PowerSave(found=True, interval_us=102_400, distance=0.11, margin=0.046),
            ),
            multicast=MulticastFigures(
                word=MulticastWord.LATE,
                message="multicasts to it are kept back: half of 58 answers took 96 ms and longer, "
                "half of its other round trips 42 ms and less; access points do so until a beacon "
                "as long as any station of theirs sleeps; 2 of 60 questions were not answered (1% "
                "to 11% by a 95 % interval)",
                advice="",
                asked=60,
                lost=2,
                loss_low=0.0092,
                loss_high=0.1136,
                p50_us=96_310,
                p95_us=141_900,
                max_us=151_200,
            ),
        ),
        JointSurvey(
            joint="wrist",
            verdict=LinkVerdict.NOT_KNOWN,
            message="wrist: 0 of 0 exchanges were answered, too few to tell anything: 200 must be "
            "sent and 100 answered",
            findings=(),
            figures=None,
            multicast=MulticastFigures(
                word=MulticastWord.NOT_KNOWN,
                message="what becomes of multicasts is not known, as nothing was asked: it was not "
                "heard to announce itself since the coordinator began, or this computer could not "
                "send",
                advice="",
                asked=0,
                lost=0,
                loss_low=None,
                loss_high=None,
                p50_us=None,
                p95_us=None,
                max_us=None,
            ),
        ),
    ),
    ended_us=80_500_000,
    ended_utc="2026-05-01T09:00:00+00:00",
)
SURVEYING: Final = replace(
    SURVEY,
    phase=SurveyPhase.MEASURING,
    message="measuring, 0 exchanges so far",
    left_s=61.0,
    exchanges=0,
    results=(),
    ended_us=None,
    ended_utc=None,
)
CANCELLED_SURVEY: Final = replace(
    SURVEYING,
    phase=SurveyPhase.CANCELLED,
    message=f"the survey was cancelled; {NO_MORE}",
    left_s=0.0,
    exchanges=312,
    ended_us=80_500_000,
    ended_utc="2026-05-01T09:00:00+00:00",
)
as_answer(SurveySnapshot)
as_answer(JointSurvey)
as_answer(LinkFigures)
as_answer(LinkFinding)
as_answer(ClockFigures)
as_answer(Stability)
as_answer(PowerSave)
as_answer(MulticastFigures)
