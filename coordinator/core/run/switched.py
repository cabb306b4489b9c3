"""What a program has switched: its run goes on only with these outputs as the program left them.

A joint switches outputs off by itself where the arm file says so, and hands switch them while a run
rests. Going on as if nothing had been would let go of what is held, or cut with a tool that stands
still.
"""

from math import inf
from typing import Final

from coordinator.codes.refusal import RefusalCode
from coordinator.core.events import Refused
from coordinator.core.run.context import Context
from coordinator.motion.outputs import Switch

NEAR_US: Final = 10
"""A joint that rests so near a switch may have switched or not: places are rounded."""


def require_outputs(context: Context, *, at_end: bool) -> None:
    """Raise Refused for an output that is not as the program left it where its joint stands, or at
    the end of the part.

    Outputs that the program has not switched are nobody's business here.
    """
    for name, last in context.switched_by(inf).items():
        link = context.links[last.joint]
        if link.status is None:
            continue
        is_on = bool(link.status.outputs & last.mask)
        place_us = inf if at_end else link.status.path_us
        left = {
            _left(context.switched_by(place_us + near_us).get(name))
            for near_us in (-NEAR_US, NEAR_US)
        }
        if None in left or is_on in left:
            continue
        now_is, was = ("on", "off") if is_on else ("off", "on")
        raise Refused(
            RefusalCode.OUTPUT,
            f"{name} of {link.name} is {now_is}, and the program left it {was}: switch it {was} "
            "first",
        )


def _left(switch: Switch | None) -> bool | None:
    return None if switch is None else switch.on
