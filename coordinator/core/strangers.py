"""Joints on the network that are not in the arm file: named once, and left alone."""

from typing import Final

from coordinator.codes.level import Level
from coordinator.core.events import Found
from coordinator.core.outbox import Outbox

STRANGERS_KEPT: Final = 64
"""Anyone on the network can announce joints; more of them are not remembered."""


class Strangers:
    """What was announced and is not in the arm file."""

    def __init__(self, arm_file: str, outbox: Outbox) -> None:
        self.announced: dict[str, Found] = {}
        """By DNS-SD instance."""
        self._told: set[str] = set()
        """Ids that people were told of: they may come and go."""
        self._is_crowded = False
        self._arm_file = arm_file
        self._outbox = outbox

    def found(self, found: Found, now: int) -> None:
        """One announced itself."""
        if found.instance not in self.announced:
            if len(self.announced) >= STRANGERS_KEPT:
                self._tell_of_crowd(now)
                return
            self._tell(found, now)
        self.announced[found.instance] = found

    def gone(self, instance: str) -> None:
        """One said goodbye, or is silent, or was announced as a joint of the arm."""
        self.announced.pop(instance, None)

    def _tell(self, found: Found, now: int) -> None:
        joint_id = found.announcement.id
        if joint_id in self._told or len(self._told) >= STRANGERS_KEPT:
            return
        self._told.add(joint_id)
        self._outbox.note(
            now, Level.ATTENTION, "joint-unknown",
            f"{found.instance} announces id {joint_id}, which is not in {self._arm_file}; it is "
            "left alone",
        )  # fmt: skip

    def _tell_of_crowd(self, now: int) -> None:
        if not self._is_crowded:
            self._is_crowded = True
            self._outbox.note(
                now, Level.ATTENTION, "joints-unknown",
                f"more than {STRANGERS_KEPT} joints that are not in {self._arm_file} announce "
                "themselves; the others are not listed",
            )  # fmt: skip
