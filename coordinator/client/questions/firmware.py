"""New firmware for a joint."""

from typing import TYPE_CHECKING

from coordinator.client.errors import UpdateFailed
from coordinator.client.questions.asked import Asked, of_joint
from coordinator.client.questions.patience import IMAGE_BYTES_PER_S, PLANNING_S
from coordinator.client.transport import File
from coordinator.codes.update_phase import UpdatePhase

if TYPE_CHECKING:
    from coordinator.client.values import UpdateSnapshot


class FirmwareQuestions(Asked):
    """Updates over the air."""

    async def update(self, joint: str, file: bytes) -> "UpdateSnapshot":
        """Begin to give a joint new firmware, by a file that `unisono joint sign` made; how it
        goes. Nothing of the arm moves until it is over.
        """
        path, patience_s = of_joint(joint, "update"), PLANNING_S + len(file) / IMAGE_BYTES_PER_S
        return await self._updating("POST", path, File(file), patience_s)

    async def updating(self, joint: str) -> "UpdateSnapshot":
        """How the newest update goes or went. WrongInput where it was not this joint's."""
        return await self._updating("GET", of_joint(joint, "update"))

    async def cancel_update(self, joint: str) -> "UpdateSnapshot":
        """Cancel a joint's update. Refused once it is to install it."""
        return await self._updating("DELETE", of_joint(joint, "update"))

    async def update_and_wait(self, joint: str, file: bytes) -> "UpdateSnapshot":
        """The same as `update`, to its end. Raises UpdateFailed where the new firmware does not run
        then. To wait no longer ends nothing.
        """
        update = await self.update(joint, file)
        while not update.phase.is_over:
            await self._look()
            update = await self.updating(joint)
        if update.phase != UpdatePhase.DONE:
            raise UpdateFailed(update)
        return update

    async def _updating(
        self, method: str, path: str, body: File | None = None, patience_s: float | None = None
    ) -> "UpdateSnapshot":
        answer = await self._asking.ask(
            "update", method, path, body, has="phase", patience_s=patience_s
        )
        from coordinator.client.values import UpdateSnapshot

        return self._asking.read(UpdateSnapshot, answer)
