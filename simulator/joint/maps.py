"""Which clock maps a joint believes: none that would cost it precision or speed it up."""

from typing import Final

from protocol.clockmap import ClockMap

MAP_SPAN_US: Final = 2**47
"""About 4.5 years. Maps further off would cost the arm clock its fractions of a µs."""
MAP_RATE_PPB: Final = 300_000
"""With the slew of 200 ppm a joint then runs at most 0.05 % faster than planned (design I5)."""


def credible(clock_map: ClockMap, now: float) -> bool:
    """Whether two sound clocks can be related so, at a joint time in µs."""
    return (
        clock_map.number > 0
        and abs(clock_map.arm_us) <= MAP_SPAN_US
        and abs(clock_map.joint_us - now) <= MAP_SPAN_US
        and abs(clock_map.rate_ppb) <= MAP_RATE_PPB
    )
