"""The way to a waypoint, said again as long as somebody waits for it."""

import contextlib
from collections.abc import Callable
from typing import TYPE_CHECKING, Final

from coordinator.client.errors import ClientError, WrongInput
from coordinator.client.questions.state import StateQuestions
from coordinator.client.questions.teaching import TeachingQuestions

if TYPE_CHECKING:
    from coordinator.client.values import JointSnapshot

SETTLED_S: Final = 10.0
"""Joints that are there say so in a moment."""
THERE_DEG: Final = 0.02
"""A joint that rests this near is there: more than a count of any joint."""


class GoingQuestions(StateQuestions, TeachingQuestions):
    """Turning the arm to a place."""

    async def go_to(self, waypoint: str, *, begun: Callable[[], None] | None = None) -> None:
        """Turn all joints to a waypoint, and wait until they are there.

        `begun` is called once, as the joints begin to turn: not where that is refused.

        Each goes its own way, at the arm file's speed for teaching. Said again all the while: where
        this is left, or cannot be said in time, the arm comes to rest by itself. Raises NotFinished
        where the joints do not say then that they rest.
        """
        taught = await self.taught()
        place = next((one for one in taught.waypoints if one.name == waypoint), None)
        if place is None:
            raise WrongInput(f"there is no waypoint {waypoint!r}")
        try:
            while True:
                body = {"waypoint": place.id}
                await self._asking.ask("command", "POST", "/go", body, has="phase")
                if begun is not None:
                    begun()
                    begun = None
                joints = await self.joints()
                away = [
                    name
                    for name, angle in place.angles_deg.items()
                    if name in joints and not _is_at(joints[name], angle)
                ]
                if not away:
                    break
                await self._look()
        finally:
            with contextlib.suppress(ClientError):  # it ends by itself
                await self._command("/jog", {"velocities_deg_s": {}})
        await self.wait_until_at_rest(SETTLED_S)


def _is_at(joint: "JointSnapshot", angle_deg: float) -> bool:
    at_deg = joint.position_deg
    return at_deg is not None and abs(at_deg - angle_deg) <= THERE_DEG and not joint.velocity_deg_s
