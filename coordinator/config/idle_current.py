"""How much less current motors get that rest, and after how long; never one that holds a load."""

from dataclasses import dataclass
from typing import Final, Protocol

from coordinator.config.toml_table import Complaints, Table

MIN_AFTER_S: Final = 1.0
"""Shorter rests are those between two moves of a hand."""
MAX_AFTER_S: Final = 86_400.0


class Rests(Protocol):
    """Of a joint: what is asked of it here."""

    @property
    def name(self) -> str:
        """Its name."""

    @property
    def holds_load(self) -> bool | None:
        """Whether it holds a load at rest; None where the file does not say."""


@dataclass(frozen=True, slots=True)
class IdleCurrent:
    """The same for all joints that hold no load."""

    share: float
    """Of a joint's `hold_current_a`."""
    after_s: float


def read_idle_current(
    whole: Table, joints: tuple[Rests, ...], complaints: Complaints
) -> IdleCurrent | None:
    """The table `idle_current` of an arm file; None where it is not there: none is reduced then.

    Where it is, every joint must say whether it holds a load: nobody shall forget one.
    """
    table = whole.table("idle_current", "idle_current:") if whole.has("idle_current") else None
    if table is None:
        return None
    found = IdleCurrent(
        share=table.number("share", 0.0, 1.0, above=True),
        after_s=table.number("after_s", MIN_AFTER_S, MAX_AFTER_S, "s"),
    )
    table.finish()
    for index, joint in enumerate(joints):
        if joint.holds_load is None:
            complaints.add(
                ("joints", index),
                f"joint {joint.name or index + 1}: holds_load is missing, but must be true or "
                "false where there is idle_current",
            )
    return found
