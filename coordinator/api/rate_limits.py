"""How often one address may ask: token buckets, and a count of what it got wrong."""

from typing import Final

ADDRESSES: Final = 1000
"""Remembered at most; the oldest are forgotten first."""


class Buckets:
    """One bucket an address: `burst` at once, `per_s` for good."""

    def __init__(self, per_s: float, burst: int) -> None:
        self._us_each = 1e6 / per_s
        self._burst = burst
        self._full_at_us: dict[str, float] = {}

    def wait_us(self, address: str, now: int) -> int:
        """Take one; 0, or how long to wait until there is one again."""
        full_at = max(self._full_at_us.pop(address, now), now)
        short = full_at + self._us_each - now - self._burst * self._us_each
        if short <= 0:
            full_at += self._us_each
        self._full_at_us[address] = full_at  # behind all others: in order of use
        if len(self._full_at_us) > ADDRESSES:
            del self._full_at_us[next(iter(self._full_at_us))]
        return max(0, round(short))


class Mistakes:
    """Wrong tokens by address: so many in a window, then one more is told to come later."""

    def __init__(self, allowed: int, window_us: int) -> None:
        self._allowed = allowed
        self._window_us = window_us
        self._found: dict[str, tuple[int, int]] = {}

    def count(self, address: str, now: int) -> int:
        """Count one; how many there were in this window."""
        since, count = self._found.pop(address, (now, 0))
        if now - since >= self._window_us:
            since, count = now, 0
        self._found[address] = (since, count + 1)
        if len(self._found) > ADDRESSES:
            del self._found[next(iter(self._found))]
        return count + 1

    def wait_us(self, address: str, now: int) -> int:
        """0, or how long this address must wait because it was wrong too often."""
        since, count = self._found.get(address, (now, 0))
        return max(0, since + self._window_us - now) if count > self._allowed else 0
