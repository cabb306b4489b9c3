"""How far the average over a window strays from the lines near a corner, bounded from above.

With a window of width T, a corner that is passed at speed v and bends by N adds, at a time t from
it, at most N·v·φ(t) to the distance from the lines, φ(t) = (T/2 - |t|)²/2T within half a window of
it. Between two corners the sum over all of them is convex, so it is largest at a corner. To that
come what the parabolas stray themselves, averaged over the window: N·v·τ²/24T each, τ the time
that one takes; and what acceleration a does beyond each: N·a·(T/2 - |t|)³/6T, a·T²/12 at most.

Whatever the corners, the average of positions is no further from the one in the middle than the
arm gets in the mean time to it: v·(T + τ)/4.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from coordinator.motion.blending.lines import Corner, Line
from coordinator.motion.points import CornerLimit, PassedCorner

NEAR: Final = 1e-6
"""Share by which speeds differ that are the same."""


@dataclass(slots=True)
class Move:
    """A line with the corner at its end, and the most that is known of its speeds."""

    line: Line
    top_speed: float
    """On the line, in °/s."""
    corner: Corner | None = None
    """None while the line after it is not known, and where the arm stops."""
    end_speed: float = 0.0
    """Through the corner."""
    asked_speed: float = 0.0
    """The same but for the corner: what the two lines allow."""
    parabola_speed: float = math.inf
    """What the parabola allows, which reaches over half of the shorter line at most."""
    share: float = 1.0
    """Of `end_speed` that the tolerance allows."""
    stops: bool = False
    """The corner cannot be passed within the tolerance."""

    def passed(self, speed: float) -> PassedCorner:
        """How the corner is passed, at that speed, where there is a tolerance."""
        assert self.corner is not None
        limit, joint = CornerLimit.WAY, None
        reached = speed * (1.0 + NEAR)
        allowed = min(self.top_speed, self.share * self.end_speed)
        if reached >= self.asked_speed:
            return PassedCorner(self.asked_speed, speed, None, None)
        if self.stops or (reached >= allowed and allowed < self.end_speed):
            limit = CornerLimit.TOLERANCE
        elif reached >= self.parabola_speed:
            limit, joint = CornerLimit.ACCELERATION, self.corner.hardest
        return PassedCorner(self.asked_speed, speed, limit, joint)


@dataclass(slots=True)
class Straying:
    """At a corner, in degrees."""

    by_speed: float
    """In proportion to the speeds through the corners in the window."""
    by_acceleration: float
    by_distance: float
    """Another bound on the whole of it."""
    first: int
    last: int
    """Indexes of the moves that lie in the window in part at least."""
    hardest: float = 0.0
    """The most acceleration on lines in the window, in °/s²."""
    fastest: float = 0.0
    """The most speed there."""
    near: float = 0.0
    """What `by_acceleration` is by °/s² of it, before it is cut off at T²/12."""


def peak_speed(line: Line, top: float, begin: float, end: float) -> float:
    """The most speed that a line leaves room for between those at its ends."""
    return min(top, math.sqrt((begin * begin + end * end) / 2.0 + line.acceleration * line.length))


def straying(moves: Sequence[Move], at: int, width_s: float) -> Straying:
    """The bounds at the end of a move, from what is known of the speeds around it."""
    own = moves[at]
    assert own.corner is not None
    half_s = width_s / 2.0
    bends = own.corner.bend * half_s**3
    blend_s = own.corner.blend_s2_deg * own.end_speed
    # The second is more than it is, so that half the speed makes half of it at most.
    if blend_s < width_s:
        rests_s = width_s / 8.0 + blend_s * blend_s / (24.0 * width_s)
    else:
        rests_s = blend_s / 8.0 + width_s / 24.0
    by_speed = own.corner.bend * own.end_speed * rests_s
    hardest, fastest, longest_s = own.line.acceleration, own.end_speed, blend_s
    reach: list[int] = []
    for way in (-1, 1):
        k, away_s = at, 0.0
        while True:
            # The line on that side of the corner k, and the corner at its other end.
            number = k if way < 0 else k + 1
            if not 0 <= number < len(moves):
                break
            move = moves[number]
            begin = moves[number - 1].end_speed if number else move.end_speed
            line, top, end = move.line, move.top_speed, move.end_speed
            peak = math.sqrt((begin * begin + end * end) / 2.0 + line.acceleration * line.length)
            if peak > top:
                peak = top
            if peak > fastest:
                fastest = peak
            if line.acceleration > hardest:
                hardest = line.acceleration
            away_s += line.length / peak
            k += way
            other = moves[k] if 0 <= k < len(moves) else None
            if other is None or other.corner is None:
                break
            blend_s = other.corner.blend_s2_deg * other.end_speed
            if away_s >= half_s + blend_s / 2.0:
                break
            longest_s = max(longest_s, blend_s)
            near_s = max(0.0, half_s - away_s)
            weight = (near_s * near_s + blend_s * blend_s / 12.0) / (2.0 * width_s)
            by_speed += other.corner.bend * other.end_speed * weight
            bends += other.corner.bend * near_s**3
        reach.append(min(max(k, 0), len(moves) - 1))
    return Straying(
        by_speed,
        hardest * min(bends / (6.0 * width_s), width_s * width_s / 12.0),
        fastest * (width_s + longest_s) / 4.0,
        reach[0],
        reach[1],
        hardest,
        fastest,
        bends / (6.0 * width_s),
    )
