"""Requests on one joint's stream that wait for their answers, and how long those took."""

from bisect import bisect_left, insort
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from coordinator.core.events import Content, SendFrame
from protocol.image import ImageFrame
from protocol.messages import Install, Reject, Update

DELIVERIES: Final = 200
"""As many as exchanges that the worst link delay is made of."""
SLOW_ON_PURPOSE: Final = (Update, ImageFrame, Install)
"""The joint checks a signature, or writes and reads flash memory, before it answers: that tells
nothing of how long points take.
"""

Answer = Callable[[Reject | None, int], None]
"""Called with None for an ack, with a reject otherwise, and the arm time."""


@dataclass(slots=True)
class _Pending:
    answer: Answer
    sent_us: int
    is_measured: bool
    """Whether how long the answer takes is a delivery time."""


class Requests:
    """What one joint was asked for. Every request is answered once: by the joint, or by
    `answer_all` in its place.
    """

    def __init__(self, joint_id: str) -> None:
        self.delivery_p995_us = 0
        """99.5th percentile of the stream's last 200 delivery times, 0 before the first. Updates
        have no part in it."""
        self._joint_id = joint_id
        self._delivery_us: deque[int] = deque(maxlen=DELIVERIES)
        self._sorted_us: list[int] = []
        self._pending: dict[int, _Pending] = {}
        """By the token of the coordinator's own."""
        self._tokens: dict[int, int] = {}
        """By the number under which the shell sent the frame."""

    def __len__(self) -> int:
        """How many wait for their answer."""
        return len(self._pending)

    def request(self, token: int, content: Content, answer: Answer, now: int) -> SendFrame:
        """A frame to send, whose answer will be given to `answer`."""
        is_measured = not isinstance(content, SLOW_ON_PURPOSE)
        self._pending[token] = _Pending(answer, now, is_measured)
        return SendFrame(self._joint_id, token, content)

    def frame_sent(self, token: int, number: int, now: int) -> None:
        """The shell has sent a frame under a number."""
        self._tokens[number] = token
        if token in self._pending:
            self._pending[token].sent_us = now

    def answered(self, ref: int, reject: Reject | None, now: int) -> None:
        """An ack or reject came; one that nobody waits for is ignored."""
        waiting = self._pending.pop(self._tokens.pop(ref, -1), None)
        if waiting is None:
            return
        if waiting.is_measured:
            self._measure(now - waiting.sent_us)
        waiting.answer(reject, now)

    def answer_all(self, message: str, now: int) -> None:
        """Reject every request that still waits for its answer."""
        pending, self._pending = self._pending, {}
        self._tokens.clear()
        for waiting in pending.values():
            waiting.answer(Reject(ref=0, code="stream-closed", message=message), now)

    def _measure(self, delivery_us: int) -> None:
        times = self._sorted_us
        if len(self._delivery_us) == DELIVERIES:
            del times[bisect_left(times, self._delivery_us[0])]
        self._delivery_us.append(delivery_us)
        insort(times, delivery_us)
        self.delivery_p995_us = times[-(-len(times) * 995 // 1000) - 1]
