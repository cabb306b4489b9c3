"""How far ahead a start is set (design section 4.1)."""

from typing import Final

CONFIRM_MIN_US: Final = 20_000
"""The least margin (design section 4.1): on the best link it is the host that may be late."""
ECHO_MIN_US: Final = 20_000
"""Least time for the echoes to come back, however good the link: a turn of the host's loop."""
START_DELAY_MAX_US: Final = 1_450_000
"""A start is less than 1.5 s ahead: by then a joint must hear anew or hold (design section 5).
The rest is for the way to the joint."""
ATTEMPTS: Final = 3
"""Starts tried before a run is refused (design section 4.1)."""


def confirm_us(worst_delay_us: int) -> int:
    """How long before the start's instant all echoes must be back: 0.6 worst link delays, not under
    20 ms.

    `worst_delay_us` is the worst link delay of the slowest joint.
    """
    return max(-(-worst_delay_us * 6 // 10), CONFIRM_MIN_US)


def wanted_start_delay_us(worst_delay_us: int, attempt: int = 0) -> int:
    """From now to the start's instant: 1.5 worst link delays and `confirm_us`, half as long again
    at each retry.

    The echoes get 1.5 worst link delays, but never under `ECHO_MIN_US`.

    `worst_delay_us` is the worst link delay of the slowest joint, `attempt` counts from 0.
    """
    delay = max(-(-worst_delay_us * 3 // 2), ECHO_MIN_US) + confirm_us(worst_delay_us)
    for _ in range(attempt):
        delay = delay * 3 // 2
    return delay


def start_delay_us(worst_delay_us: int, attempt: int = 0) -> int:
    """The wanted start delay, but never above `START_DELAY_MAX_US`: a link for which that is too
    short makes the start fail at its check, not late.
    """
    return min(wanted_start_delay_us(worst_delay_us, attempt), START_DELAY_MAX_US)
