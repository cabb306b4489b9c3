"""What a start would be if somebody pressed play now: whether all would begin together."""

import math
from typing import Any

from coordinator.core.events import Refused
from coordinator.core.link import slowest
from coordinator.core.machine import Coordinator
from coordinator.timing.lead import lead_us


def next_start(core: Coordinator, now: int) -> dict[str, Any]:
    """The obstacle, or how far ahead the start would be set and how far apart it could be at most.

    `within_us` is the sum of the two widest clock bounds: both joints could be wrong by as much,
    one early and one late. None as long as a link or a clock is still being measured.
    """
    figures = {"lead_us": None, "within_us": None, "slowest": None, "obstacle": None}
    try:
        core.require_playable(now)
    except Refused as refused:
        return {**figures, "obstacle": {"code": refused.code, "message": refused.message}}
    bounds_us = [link.clock_bound_us(now) for link in core.links]
    known_us = sorted((us for us in bounds_us if us is not None), reverse=True)
    if len(known_us) < len(bounds_us) or not all(link.quality.measured for link in core.links):
        return figures
    last = slowest(core.links)
    return {
        **figures,
        "lead_us": lead_us(last.quality.q_us),
        "within_us": math.ceil(sum(known_us[:2])),
        "slowest": last.name,
    }
