"""What people did at the joints' own controls since the status before. It moves nothing."""

from dataclasses import dataclass
from typing import Final

from coordinator.core.events import Touched
from coordinator.core.link.link import JointLink
from protocol.status import Status

_WRAP: Final = 2**16
TOUCH_OLD_US: Final = 1_000_000
"""What may have been done longer ago than a step is obeyed is not obeyed either."""


@dataclass(frozen=True, slots=True)
class Counted:
    """What a joint has counted since its boot."""

    boot: int
    turn: int
    presses: int
    long_presses: int


class TouchWatch:
    """What was counted last, joint by joint."""

    def __init__(self) -> None:
        self._seen: dict[str, tuple[Counted, int]] = {}
        """By joint, and when it was asked for: it was not counted before that."""

    def forget(self) -> None:
        """Time may have passed that arm time does not know of."""
        self._seen.clear()

    def observe(self, link: JointLink, sent_us: int, now: int) -> Touched | None:
        """A status came, in answer to a drive of then: what is new in it. Nothing of what was
        before it was first heard, nor of what may have been longer ago: whoever did it does not
        expect motion any more.
        """
        if link.status is None:
            return None
        is_, before = _counted(link.status), self._seen.get(link.name)
        self._seen[link.name] = is_, sent_us
        if before is None:
            return None
        was, since_us = before
        if was.boot != is_.boot or _are_same(was, is_) or now - since_us > TOUCH_OLD_US:
            return None
        turn = (is_.turn - was.turn + _WRAP // 2) % _WRAP - _WRAP // 2
        return Touched(
            link.name,
            turn,
            (is_.presses - was.presses) % _WRAP,
            (is_.long_presses - was.long_presses) % _WRAP,
        )


def _are_same(was: Counted, is_: Counted) -> bool:
    """Whether nothing was counted since. Asked of every status: `==` would not be compiled."""
    return (
        was.turn == is_.turn and was.presses == is_.presses and was.long_presses == is_.long_presses
    )


def _counted(status: Status) -> Counted:
    return Counted(status.boot, status.touch_turn, status.touch_presses, status.touch_long_presses)
