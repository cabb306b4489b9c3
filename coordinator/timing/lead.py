"""How far ahead a start is set (design section 4)."""

MARGIN_MIN_US = 20_000
"""The least margin (design section 4): on the best link it is the host that may be late."""
ECHO_MIN_US = 20_000
"""Least time for the echoes to come back, however good the link: a turn of the host's loop."""
LEAD_MAX_US = 1_450_000
"""A start is less than 1.5 s ahead: by then a joint must hear anew or hold (design section 5).
The rest is for the way to the joint."""
ATTEMPTS = 3
"""Starts tried before a run is refused (design section 4)."""


def margin_us(q_us: int) -> int:
    """How long before the start's instant all echoes must be back: 0.6·Q, not under 20 ms.

    `q_us` is Q of the slowest joint.
    """
    return max(-(-q_us * 6 // 10), MARGIN_MIN_US)


def wanted_lead_us(q_us: int, attempt: int = 0) -> int:
    """From now to the start's instant: 1.5·Q and the margin, half as long again at each retry.

    The echoes get 1.5·Q, but never under `ECHO_MIN_US`.

    `q_us` is Q of the slowest joint, `attempt` counts from 0.
    """
    lead = max(-(-q_us * 3 // 2), ECHO_MIN_US) + margin_us(q_us)
    for _ in range(attempt):
        lead = lead * 3 // 2
    return lead


def lead_us(q_us: int, attempt: int = 0) -> int:
    """The wanted lead, but never above `LEAD_MAX_US`: a link for which that is too short makes the
    start fail at its check, not late.
    """
    return min(wanted_lead_us(q_us, attempt), LEAD_MAX_US)
