"""Commands to the arm, and who may give them."""

import contextlib
from collections.abc import Iterator

from coordinator.answers.control import ControlAsked
from coordinator.client.errors import Closed, OtherLoop, Unreachable
from coordinator.client.questions import patience
from coordinator.client.questions.asked import Asked
from coordinator.core.stop_words import StopWord


class CommandQuestions(Asked):
    """What the arm is to do at once, and who has control of its motion."""

    async def hold(self) -> None:
        """Come to rest on the path. Soon answered, or not delivered: and the error says so."""
        with _undelivered("the hold was not delivered, and the arm may move"):
            await self._command("/hold", patience_s=patience.SOON_S)

    async def resume(self) -> None:
        """Go on after a hold or a pause."""
        await self._command("/resume")

    async def stop(self, level: StopWord = "stop") -> None:
        """Stop: `stop`, `stop-and-release` or `release`; no safety-rated emergency stop.

        `unconfirmed` of the arm's condition names the joints that have not said that they obey.
        """
        with _undelivered(
            "nothing was stopped, and the arm may move: use the emergency stop that cuts the power"
        ):
            await self._command("/stop", {"level": level}, patience_s=patience.SOON_S)

    async def switch_output(self, output: str, *, on: bool) -> None:
        """Switch a tool's output by hand, while nothing moves. The arm's state tells once it is."""
        await self._command("/output", {"output": output, "on": on})

    async def blink(self, joint: str) -> None:
        """Let a joint's light blink, so that somebody sees which one it is. Nothing moves."""
        await self._command("/blink", {"joint": joint})

    async def override(self, percent: float) -> None:
        """Set the feed override, 5 to 100 %."""
        await self._command("/override", {"percent": percent})

    async def step(self, joint: str, by_deg: float, speed_deg_s: float) -> None:
        """Turn one joint by an angle, from where its last step ends."""
        body = {"joint": joint, "by_deg": by_deg, "speed_deg_s": speed_deg_s}
        await self._command("/step", body)

    # ---- who commands motion ----------------------------------------------------------------

    async def control(self) -> ControlAsked:
        """Who has control of the arm's motion."""
        answer = await self._asking.ask("control", "GET", "/control", has="holder")
        return self._asking.read(ControlAsked, answer)

    async def take_control(self) -> ControlAsked:
        """Take control over; what moves for somebody else is held first."""
        answer = await self._asking.ask("control", "POST", "/control/take", has="holder")
        return self._asking.read(ControlAsked, answer)

    async def release_control(self) -> ControlAsked:
        """Give control back, if this client has it."""
        answer = await self._asking.ask(
            "control", "POST", "/control/release", has="holder", patience_s=patience.GIVE_BACK_S
        )
        return self._asking.read(ControlAsked, answer)


@contextlib.contextmanager
def _undelivered(consequence: str) -> Iterator[None]:
    """What must be known first where a command did not get through."""
    try:
        yield
    except (Unreachable, Closed, OtherLoop) as error:
        raise type(error)(f"{consequence}: {error}") from error
