"""Warnings and alarms."""

from typing import TYPE_CHECKING

from coordinator.client.questions.asked import Asked
from coordinator.client.questions.older import NO_ALARMS, alarm, alarmed
from coordinator.health.shelf_time import SHELF_USUAL_S

if TYPE_CHECKING:
    from coordinator.client.values import AlarmsSnapshot, ShelfSnapshot, WarningSnapshot


class AlarmQuestions(Asked):
    """What stands against the arm, and what is said of it."""

    async def warnings(self) -> "tuple[WarningSnapshot, ...]":
        """The warnings that stand, oldest first."""
        answer = await self._asking.ask("warnings", "GET", "/warnings", has="warnings")
        from coordinator.client.values import WarningSnapshot

        found = alarmed(answer)["warnings"]
        return self._asking.read(tuple[WarningSnapshot, ...], found, "warnings")

    async def alarms(self) -> "AlarmsSnapshot":
        """What is to be told of alarms beside those that stand: over unseen, shelved, a flood."""
        answer = await self._asking.ask("warnings", "GET", "/warnings", has="warnings")
        from coordinator.client.values import AlarmsSnapshot

        return self._asking.read(AlarmsSnapshot, {**NO_ALARMS, **(answer.get("alarms") or {})})

    async def acknowledge(self, warning: int) -> "WarningSnapshot":
        """Acknowledge the warning of this id; it."""
        path = f"/warnings/{warning}/acknowledge"
        answer = await self._asking.ask("acknowledge", "POST", path, has="acknowledged")
        from coordinator.client.values import WarningSnapshot

        return self._asking.read(WarningSnapshot, alarm(answer))

    async def shelve(self, warning: int, for_s: float = SHELF_USUAL_S) -> "ShelfSnapshot":
        """Put the sign of the warning of this id aside for `for_s` seconds, 60 to 28,800.

        Nothing else changes: what stops or refuses looks at the value itself. Refused for alarms
        of high priority, `WrongInput` where none of that id is shown.
        """
        path = f"/warnings/{warning}/shelve"
        answer = await self._asking.ask("shelve", "POST", path, {"for_s": for_s}, has="until_us")
        from coordinator.client.values import ShelfSnapshot

        return self._asking.read(ShelfSnapshot, answer)

    async def unshelve(self, shelf: int) -> "ShelfSnapshot":
        """Take what is shelved, by the id of its shelf or its warning, off the shelf; what it was.

        It is so still, or not: that was never changed by it.
        """
        path = f"/warnings/{shelf}/unshelve"
        answer = await self._asking.ask("unshelve", "POST", path, has="until_us")
        from coordinator.client.values import ShelfSnapshot

        return self._asking.read(ShelfSnapshot, answer)
