"""How the arm is."""

import time
from typing import TYPE_CHECKING

from coordinator.client.errors import NotFinished, Unreachable, WrongInput
from coordinator.client.questions.asked import Asked
from coordinator.client.questions.older import alarmed
from coordinator.codes.link_word import LinkWord
from protocol.light import REST_WORDS

if TYPE_CHECKING:
    from coordinator.client.values import ArmSnapshot, JointSnapshot


class StateQuestions(Asked):
    """How the arm is, and when it rests."""

    async def is_up(self) -> bool:
        """Whether a coordinator answers."""
        try:
            await self._asking.ask("health", "GET", "/healthz", has="status")
        except Unreachable:
            return False
        return True

    async def arm(self) -> "ArmSnapshot":
        """The arm's state."""
        answer = await self._asking.ask("arm", "GET", "/arm", has="condition")
        from coordinator.client.values import ArmSnapshot

        return self._asking.read(ArmSnapshot, alarmed(answer))

    async def joints(self) -> "dict[str, JointSnapshot]":
        """The joints' states by name, base to tool."""
        return {joint.name: joint for joint in (await self.arm()).joints}

    async def arm_file(self) -> str:
        """The text of the arm file, as it was when the coordinator began."""
        try:
            return await self._text("/arm/file")
        except WrongInput as error:  # of another version, it has no such route
            raise Unreachable(
                f"what answers at {self.url} gives no arm file: {error}; name the arm by --arm"
            ) from error

    async def wait_until_at_rest(self, longest_s: float = 60.0) -> "ArmSnapshot":
        """Wait until every joint surely rests, and has confirmed a stop if there was one; the arm.

        Its `condition` says what keeps it there: `at rest`, or `stopped`, `motors off`, `held` or
        `paused`. That a joint rests does not say that it got where it was sent. Raises NotFinished
        after `longest_s` seconds, which says what still moves.
        """
        if not longest_s >= 0:
            raise WrongInput(f"longest_s is {longest_s:g}, but must be 0 or more")
        end_s = time.monotonic() + longest_s
        while restless := _restless(arm := await self.arm()):
            if time.monotonic() >= end_s:
                raise NotFinished(f"after {longest_s:g} s the arm does not surely rest, {restless}")
            await self._look()
        return arm


def _restless(arm: "ArmSnapshot") -> str:
    """What may move still, a clause; empty where all surely rest."""
    found = arm.condition
    wanting = [joint for joint in arm.joints if joint.stop_wanted]
    if found.word in REST_WORDS and not found.unconfirmed and not wanting:
        return ""
    silent = [joint for joint in arm.joints if joint.link is LinkWord.OFFLINE]
    turning = [joint for joint in arm.joints if joint.velocity_deg_s and joint not in silent]
    cause = f" ({found.cause})" if found.cause else ""
    joints = [f"{joint.name} turns at {joint.velocity_deg_s:.3g} °/s" for joint in turning]
    joints += [f"{joint.name} is not heard" for joint in silent]
    joints += [f"{joint.name} has not confirmed the stop" for joint in wanting]
    return f"it is {found.word}{cause}{': ' if joints else ''}{', '.join(joints)}"
