"""How messages get from a laptop to a joint and back: what both ways of carrying have in common.

Messages pass as values (`by_value`), which is fast, or as the bytes and tags that really go over
the wire (`by_bytes`).
"""

from collections.abc import Callable
from typing import Protocol

from coordinator.core import events as ev

Happen = Callable[..., None]

HANDSHAKE_US = 5_000_000
"""A laptop that has no whole handshake by then gives the stream up."""
NO_ANSWER_US = 10_000_000
"""Pings every 5 s, each given 5 s: a peer that vanished is noticed by then."""


class Carrier(Protocol):
    """All that one laptop sends and gets."""

    def send_drive(self, action: ev.SendDrive) -> None:
        """Send a drive and tell the core when."""

    def send_frame(self, action: ev.SendFrame) -> None:
        """Send a frame on a joint's stream and tell the core its number, if there is one."""

    def connect(self, action: ev.Connect) -> None:
        """Open the stream to a joint, in place of any older one."""

    def disconnect(self, joint_id: str) -> None:
        """Close a joint's stream without a word to the core."""

    def lost(self) -> None:
        """The process is gone: every stream of it ends."""

    def joint_lost(self, joint_id: str) -> None:
        """A joint has lost its power: what ran on its streams is gone, and nobody says so yet."""

    def joint_back(self, joint_id: str) -> None:
        """A joint that lost its power is there again and knows nothing of older streams."""

    def cut_off(self, joint_id: str) -> None:
        """No ping came through to a joint for too long: its stream is given up."""
