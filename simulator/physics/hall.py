"""A Hall sensor that is on while the axis is within a window, and when a motion meets its edges.

Positions are true motor positions in counts (microsteps × 256), which differ from what the
firmware believes once steps are lost. The sensor watches the output: behind play the motor turns
further by half of it, the way it goes, until an edge is met. So where the output is within the
window depends on from where the motor came, and the last level tells that.
"""

import math


class HallSensor:
    """On from `centre − half_width` to `centre + half_width`, both included.

    On an axis that turns without end the window comes again every `period` counts, one turn of the
    output. `stuck` is a broken sensor that always shows that level. `late` is half of the play
    between motor and output, in counts. Raises `ValueError` if the window is empty or as long as
    the period, or for a negative play.
    """

    def __init__(
        self,
        centre: float,
        half_width: float,
        stuck: bool | None = None,
        *,
        period: float | None = None,
        late: float = 0.0,
    ) -> None:
        if half_width <= 0:
            raise ValueError(f"A Hall window's half width must be above 0, not {half_width}.")
        if period is not None and period <= 2 * half_width:
            raise ValueError(
                f"A Hall window of 2 × {half_width} counts fills its period of {period} counts."
            )
        if late < 0:
            raise ValueError(f"An edge is met {late} counts late, but it cannot be below 0.")
        self.stuck = stuck
        self.late = late
        self._centre = centre
        self._half_width = half_width
        self._period = period

    def level(self, position: float, before: bool | None = None) -> bool:
        """What the sensor shows at a position in counts. `before` is what it showed last: within
        the play of an edge it shows that still. Without it the output is in the middle of its play.
        """
        if self.stuck is not None:
            return self.stuck
        beyond = -self.inside(position)
        if before is None or not -self.late < beyond <= self.late:
            return beyond <= 0.0
        return before

    def inside(self, position: float) -> float:
        """How far within the window a position is, in counts; negative outside."""
        away = position - self._centre
        if self._period is not None:
            away = math.remainder(away, self._period)
        return self._half_width - abs(away)

    def next_edge(
        self, p0: float, v: float, a: float, duration_s: float, after_s: float = 0.0
    ) -> tuple[float, bool] | None:
        """Find when a motion first crosses an edge, and the level from then on; `None` if never.

        The motion is p0 + v·t + ½·a·t² in counts, for t from 0 to `duration_s`. Only crossings at
        after_s < t ≤ duration_s count: for the next one, pass the same motion with the time
        of the last. An edge that is touched and not crossed is none, nor is one that the motion
        starts on, so compare `level` at the start of each motion with what was last known.
        """
        if self.stuck is not None:
            return None
        here = p0 + v * after_s + 0.5 * a * after_s * after_s
        crossings = (
            (time_s, rising == entered_upwards)
            for edge, entered_upwards in self._edges_around(here)
            for upwards, met in ((True, edge + self.late), (False, edge - self.late))
            for time_s, rising in _crossings(p0 - met, v, a)
            if rising is upwards and after_s < time_s <= duration_s
        )
        return min(crossings, default=None)

    def any_edge(self, low: float, high: float) -> bool:
        """Whether an edge lies between two positions in counts, both included."""
        if self.stuck is not None:
            return False
        low, high = low - self.late, high + self.late
        for edge in (self._centre - self._half_width, self._centre + self._half_width):
            if self._period is None:
                if low <= edge <= high:
                    return True
            elif math.floor((high - edge) / self._period) >= math.ceil((low - edge) / self._period):
                return True
        return False

    def first_edge(self, begin: float, end: float, level: bool) -> float | None:
        """Where a move without turning round, of any shape, first leaves a level; None if nowhere.

        Positions in counts; `level` is what the sensor showed at `begin`.
        """
        if self.stuck is not None or begin == end:
            return None
        upwards = end > begin
        # Going up, a window is entered at its lower edge and left at its upper one.
        edge = self._centre + (self._half_width if level is upwards else -self._half_width)
        edge += self.late if upwards else -self.late
        if self._period is not None:
            turns = (begin - edge) / self._period
            edge += self._period * (math.ceil(turns) if upwards else math.floor(turns))
            if edge == begin and not level:
                edge += math.copysign(self._period, end - begin)
        away, room = (edge - begin) * (1.0 if upwards else -1.0), abs(end - begin)
        if self._period is not None and away < 0.0:
            edge, away = begin, 0.0  # by the rounding of whole turns
        # Both edges belong to the window: one is in on reaching it, and out only beyond it.
        met = 0.0 <= away < room if level else 0.0 < away <= room
        return edge if met else None

    def _edges_around(self, position: float) -> list[tuple[float, bool]]:
        """The nearest edges below and above, each with whether going up across it leads in."""
        edges = [(self._centre - self._half_width, True), (self._centre + self._half_width, False)]
        period = self._period
        if period is None:
            return edges
        return [
            (edge + turn * period, leads_in)
            for edge, leads_in in edges
            for turn in _floor_and_next((position - edge) / period)
        ]


def _floor_and_next(turns: float) -> tuple[int, int]:
    below = math.floor(turns)
    return below, below + 1


def _crossings(c: float, v: float, a: float) -> list[tuple[float, bool]]:
    """Times at which c + v·t + ½·a·t² goes through 0, each with whether upwards."""
    if a == 0.0:
        return [(-c / v, v > 0.0)] if v != 0.0 else []
    squared_speed = v * v - 2.0 * a * c
    if squared_speed <= 0.0:  # never there, or only touched
        return []
    # The speed at the two crossings is ±the root; adding alike signs loses no digits.
    speed = math.copysign(math.sqrt(squared_speed), v)
    sum_of_speeds = v + speed
    return [(-sum_of_speeds / a, speed < 0.0), (-2.0 * c / sum_of_speeds, speed > 0.0)]
