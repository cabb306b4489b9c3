"""Surveys of the joints' links."""

from collections.abc import Iterable
from typing import TYPE_CHECKING

from coordinator.client.errors import SurveyEnded
from coordinator.client.questions.asked import Asked
from coordinator.codes.survey_word import SurveyPhase
from coordinator.health.link_survey import USUAL_FOR_S

if TYPE_CHECKING:
    from coordinator.client.values import SurveySnapshot


class SurveyQuestions(Asked):
    """What the links are like."""

    async def survey(
        self, joints: Iterable[str] = (), for_s: float = USUAL_FOR_S
    ) -> "SurveySnapshot":
        """Begin to survey the links of these joints, of all for none, for 10 to 600 s; how it goes.
        Nothing moves, and whatever is to move ends it. Refused while anything moves.
        """
        return await self._surveying("POST", {"joints": list(joints), "for_s": for_s})

    async def surveying(self) -> "SurveySnapshot":
        """How the newest survey goes, or what it found; its phase is `none` where there is none."""
        return await self._surveying("GET")

    async def cancel_survey(self) -> "SurveySnapshot":
        """Cancel the survey. Refused where none goes on."""
        return await self._surveying("DELETE")

    async def survey_and_wait(
        self, joints: Iterable[str] = (), for_s: float = USUAL_FOR_S
    ) -> "SurveySnapshot":
        """The same as `survey`, to its end. Raises SurveyEnded where it came to nothing: somebody
        cancelled it, or the arm was to move. To wait no longer ends nothing.
        """
        survey = await self.survey(joints, for_s)
        while survey.phase == SurveyPhase.MEASURING:
            await self._look()
            survey = await self.surveying()
        if survey.phase != SurveyPhase.DONE:
            raise SurveyEnded(survey)
        return survey

    async def _surveying(self, method: str, body: object = None) -> "SurveySnapshot":
        answer = await self._asking.ask("survey", method, "/survey", body, has="phase")
        from coordinator.client.values import SurveySnapshot

        return self._asking.read(SurveySnapshot, answer)
