"""Whose joint this is: one session at a time, and the rules by which another may begin."""

from protocol.constants import RELEASE_SESSION_US
from simulator.joint.refusal import Refusal


class Session:
    """The session in force and the newest drive of it."""

    def __init__(self) -> None:
        self.coordinator_id: bytes | None = None
        self.number: int | None = None
        self.sequence = 0
        """Of the newest drive taken."""
        self.heard_us: float | None = None
        """Joint time at which the coordinator was heard last, by either channel."""

    def refusal(
        self, coordinator_id: bytes, number: int, *, moving: bool, now: float
    ) -> Refusal | None:
        """Why this coordinator may not have that session now; None when it may."""
        other = coordinator_id != self.coordinator_id
        if number == self.number and not other:
            return None
        if moving:
            return Refusal("busy", "the joint moves or is about to start in another session")
        if other and self.heard_us is not None and now - self.heard_us < RELEASE_SESSION_US:
            silent_s = (now - self.heard_us) / 1e6
            return Refusal(
                "foreign",
                f"another coordinator was heard {silent_s:.1f} s ago, 5 s of silence are needed",
            )
        return None

    def begin(self, coordinator_id: bytes, number: int, now: float) -> bool:
        """Take a session; True when it is a new one, which begins with sequence 0."""
        self.heard_us = now
        if (coordinator_id, number) == (self.coordinator_id, self.number):
            return False
        self.coordinator_id, self.number, self.sequence = coordinator_id, number, 0
        return True

    def may_take(self, session: int, sequence: int) -> bool:
        """Whether a drive is of this session and newer than all before."""
        return session == self.number and sequence > self.sequence

    def took(self, sequence: int, now: float) -> None:
        """It has taken such a drive."""
        self.sequence, self.heard_us = sequence, now
