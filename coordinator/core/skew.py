"""How far apart in time the joints of an arm can be, as far as that can be proved, and whether a
joint knows when a permission ends.
"""

import math
from typing import Final

from coordinator.core.link.link import JointLink

EXPIRY_ERROR_US: Final = 100_000
"""By so much a permission to jog, home or advance may end late by a joint's clock, of 250 ms that
it lasts. Only a link that takes 0.2 s both ways or longer leaves more than this open."""


def skew_us(links: list[JointLink], now: int) -> int | None:
    """The sum of the two widest clock bounds: one joint could be early by its own, the other late.

    None while a joint's clock is not locked, or it goes by no map that is known; 0 for one joint.
    """
    widest_us = second_us = 0.0
    for link in links:
        uncertainty_us = link.clock_uncertainty_us(now)
        if uncertainty_us is None:
            return None
        if uncertainty_us > widest_us:
            widest_us, second_us = uncertainty_us, widest_us
        elif uncertainty_us > second_us:
            second_us = uncertainty_us
    return math.ceil(widest_us + second_us) if len(links) > 1 else 0


def too_wide(links: list[JointLink], limit_us: float, now: int) -> str | None:
    """A sentence where that is more than the arm file allows, naming the joint; else None."""
    apart_us = skew_us(links, now)
    if apart_us is None or apart_us <= limit_us:
        return None
    widest = max(links, key=lambda link: link.clock_uncertainty_us(now) or 0.0)
    uncertainty_us = widest.clock_uncertainty_us(now) or 0.0
    return (
        f"{widest.name}: its clock is known to ±{uncertainty_us / 1e3:.1f} ms only, so joints "
        f"could be {apart_us / 1e3:.1f} ms apart, {limit_us / 1e3:g} ms are allowed "
        "(skew_limit_ms); its link's delays are long, or longer one way than the other: take other "
        "traffic off the network"
    )


def too_vague(link: JointLink, now: int) -> str | None:
    """A sentence where too little is known of when a permission ends by the joint's clock; None
    where that is known, and while the clock is not trusted at all, which has words of its own.
    """
    uncertainty_us = link.sync.expiry_error_us(link.status, now)
    if uncertainty_us is None or uncertainty_us <= EXPIRY_ERROR_US:
        return None
    return (
        f"{link.name}: its clock is known to ±{uncertainty_us / 1e3:.1f} ms only, so its "
        "permission to move could last so much longer than it should; "
        f"±{EXPIRY_ERROR_US / 1e3:g} ms are allowed; its link's delays are long, or longer one "
        "way than the other: take other traffic off the network"
    )


def expiry_doubt(link: JointLink, now: int) -> str | None:
    """A sentence where a permission to move that is given now may not end in time by the joint's
    clock; else None.
    """
    if not link.clock.locked:
        return f"{link.name}: {link.clock.reason}"
    return too_vague(link, now)


def shifted(links: list[JointLink]) -> str | None:
    """A sentence where a joint's clock must be set right by more than it can do in motion."""
    for link in links:
        if link.sync.shift_us is not None:
            return (
                f"{link.name}: its clock turns out to be read wrong by "
                f"{abs(link.sync.shift_us) / 1e3:.1f} ms, because its link's delays were longer "
                "one way than the other; it is set right at rest"
            )
    return None
