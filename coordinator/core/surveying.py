"""A survey of joints' links: every exchange for a while at the active rate, with the arm at rest.

It moves nothing and keeps nobody from moving: what is to move ends it. Its figures are made by
whoever asks for them (`results`), as that takes longer than a turn of a loop should.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final

from coordinator.codes.level import Level
from coordinator.codes.refusal import RefusalCode
from coordinator.codes.survey_word import SurveyPhase
from coordinator.core.events import AskByMulticast, Refused
from coordinator.core.link.link import JointLink
from coordinator.core.outbox import Outbox
from coordinator.health.link_survey.exchanges import Exchanges
from coordinator.health.link_survey.joint_survey import JointSurvey, joint_survey
from coordinator.health.link_survey.multicast import INTERVAL_US, Questions, other_answers
from coordinator.timing.exchange import Exchange
from coordinator.timing.link_quality import TIMEOUT_US
from protocol.constants import US

NO_MORE: Final = "nothing is told of what was measured"


@dataclass(frozen=True, slots=True)
class SurveySnapshot:
    """How a survey goes or went."""

    phase: SurveyPhase
    message: str
    """The same for people."""
    joints: tuple[str, ...]
    """Whose links, base to tool."""
    for_s: float
    """How long exchanges are sent for."""
    left_s: float
    """Until it is over; 0 once it is."""
    exchanges: int
    """So many were sent so far, to the joint that got most."""
    results: tuple[JointSurvey, ...]
    """In the order of `joints`, once it is done."""
    ended_us: int | None = None
    """When it was over, arm time; None before."""
    ended_utc: str | None = None
    """The same by the wall clock, which the core does not know: whoever tells people adds it."""


NONE_ASKED: Final = SurveySnapshot(
    phase=SurveyPhase.NONE,
    message="no survey of links was asked for since the coordinator began",
    joints=(),
    for_s=0.0,
    left_s=0.0,
    exchanges=0,
    results=(),
)


class Survey:
    """One survey."""

    def __init__(self, links: Sequence[JointLink], for_us: int, now: int) -> None:
        self.phase = SurveyPhase.MEASURING
        self.names = tuple(link.name for link in links)
        self._ended_us: int | None = None
        self._why = ""
        """Why it ended before its time, a clause."""
        self._for_us = for_us
        self._sends_until_us = now + for_us
        self._exchanges = {link.id: Exchanges() for link in links}
        self._questions = {link.id: Questions() for link in links}
        self._number = 0
        self._ask_us = now
        """When the next question by multicast goes out."""

    def sent(self, joint_id: str, sequence: int, at_us: int) -> None:
        """A drive went out."""
        if joint_id in self._exchanges and at_us < self._sends_until_us:
            self._exchanges[joint_id].sent(sequence, at_us)

    def answered(self, joint_id: str, sequence: int, exchange: Exchange) -> None:
        """A drive was answered."""
        if joint_id in self._exchanges:
            self._exchanges[joint_id].answered(sequence, exchange)

    def next_question(self, now: int) -> AskByMulticast | None:
        """What is to be asked by multicast now."""
        if not self._ask_us <= now < self._sends_until_us:
            return None
        self._number, self._ask_us = self._number + 1, now + INTERVAL_US
        return AskByMulticast(self._number, tuple(self._questions))

    def asked(self, number: int, joint_ids: Sequence[str], at_us: int) -> None:
        """That went out, to these joints."""
        for joint_id in joint_ids:
            if joint_id in self._questions:
                self._questions[joint_id].asked(number, at_us)

    def answered_multicast(self, number: int, joint_id: str, at_us: int) -> None:
        """It was answered."""
        if joint_id in self._questions:
            self._questions[joint_id].answered(number, at_us)

    def restarted(self, joint_id: str) -> None:
        """A joint has another clock from now on."""
        if joint_id in self._exchanges:
            self._exchanges[joint_id].restarted = True

    def is_complete(self, now: int) -> bool:
        """Whether what was sent last is answered or lost."""
        return now >= self._sends_until_us + TIMEOUT_US

    def end(self, phase: SurveyPhase, why: str, now: int) -> None:
        """Nothing more is taken in."""
        self.phase, self._why, self._ended_us = phase, why, now

    def results(self) -> tuple[JointSurvey, ...]:
        """What it found, once it is done; nothing changes any more, so any thread may ask."""
        return self._found if self.phase is SurveyPhase.DONE else ()

    @cached_property
    def _found(self) -> tuple[JointSurvey, ...]:
        questions = list(self._questions.values())
        all_of_each = zip(
            self.names, self._exchanges.values(), questions, other_answers(questions), strict=True
        )
        return tuple(joint_survey(*one) for one in all_of_each)

    def snapshot(self, now: int, results: tuple[JointSurvey, ...]) -> SurveySnapshot:
        """How it goes."""
        over_us = self._sends_until_us + TIMEOUT_US
        left_us = 0 if self.phase.is_over else max(0, over_us - now)
        count = max(one.count for one in self._exchanges.values())
        return SurveySnapshot(
            phase=self.phase,
            message=self._message(count),
            joints=self.names,
            for_s=self._for_us / US,
            left_s=left_us / US,
            exchanges=count,
            results=results,
            ended_us=self._ended_us,
        )

    def _message(self, count: int) -> str:
        if self.phase is SurveyPhase.MEASURING:
            return f"measuring, {count} exchanges so far"
        if self.phase is SurveyPhase.DONE:
            return f"done, {count} exchanges in {self._for_us / US:g} s"
        return f"{self._why}; {NO_MORE}"


class Surveys:
    """The newest survey of one arm. All that happens to an arm passes here, survey or none."""

    def __init__(self, outbox: Outbox) -> None:
        self._outbox = outbox
        self.newest: Survey | None = None

    @property
    def measures(self) -> bool:
        """Whether one goes on."""
        return self.newest is not None and not self.newest.phase.is_over

    def begin(self, links: Sequence[JointLink], for_us: int, now: int) -> None:
        """Survey these joints."""
        self.newest = Survey(links, for_us, now)

    def cancel(self, now: int) -> None:
        """End the one that goes on. Raises Refused."""
        if not self.measures:
            raise Refused(RefusalCode.NO_SURVEY, "no survey of links is under way")
        self._end(SurveyPhase.CANCELLED, "the survey was cancelled", now)

    def require_none(self) -> None:
        """Raise Refused while one goes on."""
        if self.newest is not None and self.measures:
            names = " ".join(self.newest.names)
            raise Refused(
                RefusalCode.SURVEYING,
                f"the links of {names} are being surveyed: another survey must wait, or cancel it",
            )

    def step(self, now: int, *, disturbed: str) -> None:
        """End it in time, or for what keeps the arm from resting, a clause."""
        if self.newest is None or self.newest.phase.is_over:
            return
        if disturbed:
            self.break_off(disturbed, now)
        elif self.newest.is_complete(now):
            self._end(SurveyPhase.DONE, "the survey of links is done", now)
        elif question := self.newest.next_question(now):
            self._outbox.actions.append(question)

    def break_off(self, why: str, now: int) -> None:
        """Something else came in between, a clause."""
        if self.measures:
            self._end(SurveyPhase.BROKEN_OFF, f"the survey was broken off: {why}", now)

    def _end(self, phase: SurveyPhase, why: str, now: int) -> None:
        assert self.newest is not None
        self.newest.end(phase, why, now)
        # What ended it, or who asked for it, has a line.
        self._outbox.note(now, Level.INFO, f"survey-{phase}", why, detail=True)

    # ---- what happens -----------------------------------------------------------------------

    def sent(self, joint_id: str, sequence: int, at_us: int) -> None:
        """A drive went out."""
        if self.newest is not None and self.measures:
            self.newest.sent(joint_id, sequence, at_us)

    def answered(self, joint_id: str, sequence: int, exchange: Exchange) -> None:
        """A drive was answered."""
        if self.newest is not None and self.measures:
            self.newest.answered(joint_id, sequence, exchange)

    def asked(self, number: int, joint_ids: Sequence[str], at_us: int) -> None:
        """A question went out by multicast."""
        if self.newest is not None and self.measures:
            self.newest.asked(number, joint_ids, at_us)

    def answered_multicast(self, number: int, joint_id: str, at_us: int) -> None:
        """It was answered."""
        if self.newest is not None and self.measures:
            self.newest.answered_multicast(number, joint_id, at_us)

    def restarted(self, joint_id: str) -> None:
        """A joint restarted."""
        if self.newest is not None and self.measures:
            self.newest.restarted(joint_id)
