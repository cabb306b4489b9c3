"""What every drive to one joint carries besides the plan, and what it has heard of that."""

from typing import Final

from protocol.drive import StopLevel
from protocol.messages import Reject
from protocol.status import Status

STOP_PATIENCE_US: Final = 1_000_000
"""A stop takes a few exchanges; on a poor link some of them are lost."""


class Orders:
    """What is asked of one joint: drivers, stop, clear, homing. Changed by its methods alone."""

    def __init__(self) -> None:
        self.sequence = 0
        """Of the last drive to it in this session."""
        self.energise = False
        """Whether drives ask for its drivers; False again after a boot, until a new command."""
        self.stop_wanted = StopLevel.NONE
        """Carried in every drive; NONE again once the joint has confirmed it."""
        self.stop_us = 0
        """When a stop was asked for last."""
        self.clear_wanted = False
        """Whether a latched stop or fault is to be cleared as soon as the joint takes it."""
        self.clearing = False
        """Whether a *clear* is under way."""
        self.homing_number = 0
        """Of the last homing asked for; grows for ever, so none is obeyed twice."""
        self.let_move_sequence = 0
        """Of the last drive that permitted it to move, or to start."""
        self.let_move_us: int | None = None
        """When that was sent; None where none was in this session."""
        self._stop_sequence = 0
        """Of the last drive before the stop that is wanted."""

    # ---- drives ---------------------------------------------------------------------------

    def next_sequence(self) -> int:
        """The number of a new drive."""
        self.sequence += 1
        return self.sequence

    def next_homing(self) -> int:
        """The number of a new homing."""
        self.homing_number += 1
        return self.homing_number

    def let_move(self, now: int) -> None:
        """The drive of the newest number, sent now, lets it move."""
        self.let_move_sequence, self.let_move_us = self.sequence, now

    def renew(self) -> None:
        """The joint restarted, or the session is new: only another command energises it."""
        self.energise = False

    def begin_session(self) -> None:
        """Drives are numbered from its beginning; a stop that is wanted stays so."""
        self.renew()
        self.sequence = self._stop_sequence = self.let_move_sequence = 0
        self.let_move_us = None

    # ---- stop and clear -------------------------------------------------------------------

    def stop(self, level: StopLevel, now: int) -> None:
        """Carry a stop in every drive until the joint has latched it."""
        self.stop_us = now
        self.stop_wanted = max(self.stop_wanted, level)
        self._stop_sequence = self.sequence
        self.clear_wanted = False
        if level is not StopLevel.STOP:
            self.energise = False

    def stop_is_late(self, now: int) -> bool:
        """Whether a stop is not confirmed for so long that people must know."""
        return self.stop_wanted is not StopLevel.NONE and now - self.stop_us >= STOP_PATIENCE_US

    def confirmed_by(self, status: Status) -> None:
        """A status came: it may confirm the stop.

        Only one that has seen the stop does: the latch may be an older one, about to be cleared.
        """
        if (
            self.stop_wanted
            and status.stop >= self.stop_wanted
            and status.sequence > self._stop_sequence
            and not self.clearing
        ):
            self.stop_wanted = StopLevel.NONE

    def make_ready(self, status: Status | None) -> None:
        """A new command: switch drivers on, and lift what the joint has latched by its status."""
        self.energise = True
        self.clear_wanted = status is not None and bool(status.stop or status.faults)

    @property
    def clear_due(self) -> bool:
        """Whether to send a *clear* now."""
        return self.clear_wanted and not self.clearing

    def clear_begun(self) -> None:
        """A *clear* is under way."""
        self.clearing = True

    def clear_answered(self, reject: Reject | None) -> None:
        """It was taken or rejected; one that came before the stop's end is sent again."""
        self.clearing = False
        if reject is None or reject.code != "stop-still-asked":
            self.clear_wanted = False
