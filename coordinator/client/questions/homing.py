"""Homing, and how well joints find their homes."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from coordinator.answers.joint_homings import JointHomings
from coordinator.client.errors import HomingFailed
from coordinator.client.questions.asked import Asked, of_joint

if TYPE_CHECKING:
    from coordinator.client.values import HomingSnapshot


class HomingQuestions(Asked):
    """Homing of joints."""

    async def accept_home(self, joint: str) -> None:
        """Accept the home of a joint that wandered, once somebody has looked at the joint."""
        path = of_joint(joint, "home/accept")
        await self._asking.ask("accept", "POST", path, has="phase")

    async def home(self, joints: Sequence[str] = ()) -> int:
        """Begin to home these joints, all if none is named; the homing's number."""
        body = {"joints": list(joints)}
        answer = await self._asking.ask("home", "POST", "/home", body, has="homing")
        return self._asking.read(int, answer["homing"], "homing")

    async def homing(self, number: int) -> "HomingSnapshot":
        """How a homing goes."""
        answer = await self._asking.ask("homing", "GET", f"/homings/{number}", has="state")
        from coordinator.client.values import HomingSnapshot

        return self._asking.read(HomingSnapshot, answer)

    async def home_and_wait(self, joints: Sequence[str] = ()) -> "HomingSnapshot":
        """Home these joints, all if none is named, to the end. Raises HomingFailed.

        To wait no longer ends no homing: it goes on unless it is stopped.
        """
        number = await self.home(joints)
        while (homing := await self.homing(number)).state == "running":
            await self._look()
        if homing.state != "done":
            raise HomingFailed(homing)
        return homing

    async def joint_homings(self, joint: str) -> JointHomings:
        """How well a joint found its home again, homing after homing."""
        path = of_joint(joint, "homings")
        return self._asking.read(
            JointHomings,
            await self._asking.ask("joint-homings", "GET", path, has="drift_deg_per_c"),
        )
