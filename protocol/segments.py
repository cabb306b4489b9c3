"""Cubic Hermite segments between points, and the check that planner and joint both make.

Source of the form: the cubic with given end positions and end velocities. Its second derivative
is linear, so it is largest at an end; its first is a parabola, largest at an end or its vertex.
"""

from typing import Final

from protocol.constants import ACCELERATION_SHARE, US
from protocol.points import Point

MIN_SPACING_US: Final = 1_000
"""Closer points would let the rounding of a position to 1/256 microstep pass for acceleration."""


def hermite(a: Point, b: Point, time_us: float) -> tuple[float, float, float]:
    """Position (counts), velocity (counts/s) and acceleration (counts/s²) at a path time.

    `a` and `b` are consecutive points and `time_us` lies between their times.
    """
    h = (b.time_us - a.time_us) / US
    u = (time_us - a.time_us) / (b.time_us - a.time_us)
    rise = float(b.position - a.position)
    va, vb = a.velocity * h, b.velocity * h
    c2 = 3 * rise - 2 * va - vb
    c3 = va + vb - 2 * rise
    position = a.position + u * (va + u * (c2 + u * c3))
    velocity = (va + u * (2 * c2 + 3 * u * c3)) / h
    acceleration = (2 * c2 + 6 * u * c3) / (h * h)
    return position, velocity, acceleration


def peaks(a: Point, b: Point) -> tuple[float, float]:
    """Largest |velocity| (counts/s) and |acceleration| (counts/s²) within a segment."""
    h = (b.time_us - a.time_us) / US
    slope = (b.position - a.position) / h
    begin = (6 * slope - 4 * a.velocity - 2 * b.velocity) / h
    end = (-6 * slope + 2 * a.velocity + 4 * b.velocity) / h
    fastest = float(max(abs(a.velocity), abs(b.velocity)))
    if begin * end < 0:
        at = begin / (begin - end)
        fastest = max(fastest, abs(a.velocity + 0.5 * begin * h * at))
    return fastest, max(abs(begin), abs(end))


def rounding_allowance(a: Point, b: Point) -> tuple[float, float]:
    """What rounding alone can add to a segment's velocity and acceleration.

    Half a count at each position and half a count per second at each velocity, carried through
    the formulas of `peaks`: 6·1/h² + 6·½/h for the acceleration, 1.5·1/h + 1 for the velocity.
    Between close points that is much, but it lasts for one segment only and displaces by less
    than a count or two: `check_segment` holds what would add up to much tighter figures.
    """
    h = (b.time_us - a.time_us) / US
    return 1.5 / h + 1.0, 6.0 / (h * h) + 3.0 / h


def check_segment(
    a: Point, b: Point, velocity_limit: float, acceleration_limit: float
) -> str | None:
    """None if |q′| ≤ v and |q″| ≤ 0.8·a hold between two points, otherwise a sentence.

    Limits are in counts/s and counts/s². Only rounding is allowed for: `rounding_allowance` at the
    peaks, 1 count/s at the ends' velocities and at what they gain. Without the last two, close
    points could pass off a steady excess as rounding: at 1 ms, several times the acceleration.
    """
    if b.time_us - a.time_us < MIN_SPACING_US:
        return f"points at {a.time_us} and {b.time_us} µs are closer than {MIN_SPACING_US} µs"
    velocity, acceleration = peaks(a, b)
    more_velocity, more_acceleration = rounding_allowance(a, b)
    fastest_end = max(abs(a.velocity), abs(b.velocity))
    if velocity > velocity_limit + more_velocity or fastest_end > velocity_limit + 1.0:
        return (
            f"between {a.time_us} and {b.time_us} µs the velocity reaches {velocity:.0f} "
            f"counts/s, the limit is {velocity_limit:.0f}"
        )
    allowed = ACCELERATION_SHARE * acceleration_limit
    h = (b.time_us - a.time_us) / US
    gained = abs(b.velocity - a.velocity)
    if acceleration > allowed + more_acceleration or gained > allowed * h + 1.000001:
        return (
            f"between {a.time_us} and {b.time_us} µs the acceleration reaches "
            f"{acceleration:.0f} counts/s², a plan may use {allowed:.0f}"
        )
    return None
