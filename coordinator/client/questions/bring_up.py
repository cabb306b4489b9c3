"""The bring-up of a joint."""

from urllib.parse import quote

from coordinator.answers.bring_up import BringUp
from coordinator.client.questions.asked import Asked, of_joint


class BringUpQuestions(Asked):
    """How far a joint is brought up."""

    async def bring_up(self, joint: str) -> BringUp:
        """How far the bring-up of a joint is, and what a swap asks for again."""
        return await self._bringing_up("GET", of_joint(joint, "bring-up"))

    async def brought_up(
        self,
        joint: str,
        step: str,
        *,
        answer: str | None = None,
        commanded_deg: float | None = None,
        measured_deg: float | None = None,
    ) -> BringUp:
        """Say that a step of it is done, or `controller-only` or `other-body`; Refused where what
        it asks for is not so, or an earlier one is to be done first.
        """
        body = {
            "answer": answer, "commanded_deg": commanded_deg, "measured_deg": measured_deg
        }  # fmt: skip
        path = of_joint(joint, f"bring-up/{quote(step, safe='')}")
        return await self._bringing_up("POST", path, body)

    async def bring_up_sheet(self, joint: str) -> str:
        """All that was found, as the text of an HTML file for people."""
        return await self._text(of_joint(joint, "bring-up/sheet"), "text/html")

    async def _bringing_up(self, method: str, path: str, body: object = None) -> BringUp:
        answer = await self._asking.ask("bring-up", method, path, body, has="steps")
        return self._asking.read(BringUp, answer)
