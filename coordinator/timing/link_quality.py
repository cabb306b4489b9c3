"""How long a link needs to get a repeated state across and back: the worst link delay (design
section 4).

Everything that moves or permits is repeated state, so what counts is not whether a datagram gets
lost but how long it takes until one has been there and back. In the worst of ordinary cases that
is the longest time without any answer, followed by one slow exchange.

Rules: an exchange is *decided* when it is answered, or lost when no answer has come for a second.
An answer after that still counts, as a long time instead of a loss. The window is the last 200
exchanges sent, of which those not yet decided say nothing. A run of loss lasts from the sending
of its first exchange to the sending of the next one that was answered, so it is time and not a
count. But at rest exchanges are rare, and whatever counts is sent at the active rate: so a run ends
an active interval after the last that was not answered. A run without end so far lasts until the
last sending.
"""

from bisect import bisect_left, insort
from collections import deque
from dataclasses import dataclass
from typing import Final

from protocol.constants import ACTIVE_INTERVAL_US

WINDOW: Final = 200
"""Exchanges: eight seconds at 25 Hz (design section 4.1)."""
MEASURED: Final = 50
"""Decided exchanges, two seconds at 25 Hz, without which a link is not judged."""
TIMEOUT_US: Final = 1_000_000
"""Longer than any exchange but the rarest (a Wi-Fi station in power save: 1037 ms at most seen,
arduino-esp32 issue 1484), and the time after which a joint counts as unheard (design section 5)."""
WORST_PER_MILLE: Final = 995
"""The percentile of exchange times that the worst link delay is made of (design section 4.1)."""


@dataclass(slots=True)
class _Sent:
    sequence: int
    at_us: int
    rtt_us: int | None = None


@dataclass(frozen=True, slots=True)
class _Losses:
    count: int
    longest_run_us: int
    ended_us: int | None
    """When the exchange was sent whose answer ended the last run; none while that goes on."""


class LinkQuality:
    """The last exchanges with one joint in one session. Times are arm time in µs."""

    def __init__(self) -> None:
        self._window: deque[_Sent] = deque()
        self._sent: dict[int, _Sent] = {}
        """The window by sequence numbers."""
        self._rtts_us: list[int] = []  # of the window, sorted
        self._last_sequence = -1
        self._now_us = 0
        self._surveyed: _Losses | None = None
        self._undecided_us: int | None = None
        """When the oldest exchange was sent that has been neither answered nor lost, at the last
        survey or since; it may have been answered by now."""

    def sent(self, sequence: int, at_us: int) -> None:
        """An exchange was sent. Raises ValueError unless its sequence number is above the last."""
        if sequence <= self._last_sequence:
            raise ValueError(f"exchange {sequence} was sent after exchange {self._last_sequence}")
        if len(self._window) == WINDOW:
            oldest = self._window.popleft()
            del self._sent[oldest.sequence]
            if oldest.rtt_us is not None:
                del self._rtts_us[bisect_left(self._rtts_us, oldest.rtt_us)]
            else:
                self._surveyed = None
        entry = self._sent[sequence] = _Sent(sequence, at_us)
        self._window.append(entry)
        self._last_sequence = sequence
        self._now_us = max(self._now_us, at_us)
        if self._surveyed is not None and self._surveyed.ended_us is None:
            self._surveyed = None
        if self._undecided_us is None:
            self._undecided_us = at_us

    def answered(self, sequence: int, at_us: int) -> int | None:
        """The exchange time in µs; none for a second answer or one that left the window."""
        entry = self._sent.get(sequence)
        if entry is None or entry.rtt_us is not None:
            return None
        entry.rtt_us = at_us - entry.at_us
        insort(self._rtts_us, entry.rtt_us)
        self._now_us = max(self._now_us, at_us)
        ended_us = self._surveyed.ended_us if self._surveyed is not None else None
        if ended_us is None or entry.at_us <= ended_us:
            self._surveyed = None
        return entry.rtt_us

    @property
    def count(self) -> int:
        """Decided exchanges in the window."""
        return len(self._rtts_us) + self._losses().count

    @property
    def measured(self) -> bool:
        """Whether enough exchanges are decided to judge the link."""
        return self.count >= MEASURED

    @property
    def loss(self) -> float:
        """Share of the decided exchanges that were lost, 0 to 1."""
        return self._losses().count / self.count if self.count else 0.0

    @property
    def loss_run_us(self) -> int:
        """The longest run of loss in the window."""
        return self._losses().longest_run_us

    @property
    def rtt_p50_us(self) -> int | None:
        """Median exchange time; none without an answer."""
        return self._percentile(500)

    @property
    def rtt_p99_us(self) -> int | None:
        """99th percentile of the exchange times; none without an answer."""
        return self._percentile(990)

    @property
    def worst_delay_us(self) -> int:
        """The worst link delay: the 99.5th percentile of the exchange times and the longest run of
        loss, together.

        Without any answer the time-out stands for the percentile, for no less is known. One loss
        is always reckoned with: that none of so few was lost does not mean that the next is not.
        """
        slow_us = self._percentile(WORST_PER_MILLE)
        run_us = max(self.loss_run_us, ACTIVE_INTERVAL_US)
        return (TIMEOUT_US if slow_us is None else slow_us) + run_us

    def _percentile(self, per_mille: int) -> int | None:
        """The smallest time that this share of the exchanges did not exceed (nearest rank)."""
        count = len(self._rtts_us)
        return self._rtts_us[(count * per_mille + 999) // 1000 - 1] if count else None

    def _losses(self) -> _Losses:
        """What is lost by the newest instant seen.

        Surveyed anew only when that can have changed: an exchange sent since may be lost by now, a
        lost one left the window or was answered after all, or the last run has not ended yet.
        """
        lost_before_us = self._now_us - TIMEOUT_US
        undecided_us = self._undecided_us
        if self._surveyed is not None and (undecided_us is None or undecided_us > lost_before_us):
            return self._surveyed
        count = longest_us = 0
        ended_us: int | None = -1
        since_us = last_us = self._undecided_us = None
        retry_us = 0
        for entry in self._window:
            last_us = entry.at_us
            if entry.rtt_us is not None:
                if since_us is not None:
                    longest_us = max(longest_us, min(last_us, retry_us) - since_us)
                    since_us, ended_us = None, last_us
                continue
            retry_us = last_us + ACTIVE_INTERVAL_US
            if last_us <= lost_before_us:
                count += 1
                if since_us is None:
                    since_us = last_us
            elif self._undecided_us is None:
                self._undecided_us = last_us
        if since_us is not None and last_us is not None:
            longest_us, ended_us = max(longest_us, last_us - since_us), None
        self._surveyed = _Losses(count, longest_us, ended_us)
        return self._surveyed
