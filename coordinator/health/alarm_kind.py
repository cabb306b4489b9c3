"""What all warnings of one code have in common, and what one look at a joint finds of them.

Whether a value is *bad*, clear of its dead band, or in between, is all that a finding says; values
and their limits belong to the files of their kinds.
"""

from dataclasses import dataclass
from typing import NamedTuple

from coordinator.codes.alarm_origin import AlarmOrigin
from coordinator.codes.level import Level
from coordinator.codes.priority import Priority


@dataclass(frozen=True, slots=True)
class Kind:
    """What all warnings of one code have in common, and why they are alarms at all.

    Nothing has a default but the delays: a kind of which somebody need do nothing is no alarm.
    """

    code: str
    """Stable, for programs."""
    priority: Priority
    """How soon somebody must act; of `JOURNAL` nothing stands."""
    origin: AlarmOrigin
    cause: str
    """What is likely behind it: a clause."""
    consequence: str
    """What comes of it if nobody acts: a clause."""
    advice: str
    """What to do: a clause."""
    over: str
    """What is so once it has ended: a clause that follows the joint's name."""
    dead_band: str
    """What must be so before it can end, and between which and its limit nothing changes."""
    begin_after_us: int = 0
    """It must have been bad for so long without a break."""
    end_after_us: int = 0
    """It must have been clear for so long without a break."""

    @property
    def level(self) -> Level:
        """Attention or danger."""
        return Level.DANGER if self.priority is Priority.HIGH else Level.ATTENTION

    @property
    def may_be_shelved(self) -> bool:
        """Never what stops the arm, or leaves it limp, unheard, or not where it is expected."""
        return self.priority is not Priority.HIGH


class Finding(NamedTuple):
    """What one look at a joint says of one kind."""

    kind: Kind
    bad: bool | None
    """True beyond the limit, False clear of the dead band, None in it or unknown."""
    message: str = ""
    """What happened, with value and limit, and what it means; only where it is bad."""
