"""Two axes with round figures at them, on a drawing of one size."""

from datetime import UTC, datetime
from typing import Final

from coordinator.pictures.svg import INK, MUTED, Drawing, step_for

WIDTH: Final = 640.0
LEFT: Final = 84.0
RIGHT: Final = 616.0
TOP: Final = 48.0
BOTTOM: Final = 360.0
_MINUTE_S: Final = 60
_HOUR_S: Final = 3_600
_DAY_S: Final = 86_400
TIME_STEPS_S: Final = (
    *(one * _MINUTE_S for one in (1, 5, 15, 30)),
    *(one * _HOUR_S for one in (1, 3, 6, 12)),
    *(one * _DAY_S for one in (1, 2, 7, 14, 28, 91, 182, 364, 728, 1_820)),
)
"""Between two ticks of a time axis."""
TIME_TICKS: Final = 6
"""At most: a date is wide."""
DOT: Final = "M -3 0 A 3 3 0 1 0 3 0 A 3 3 0 1 0 -3 0 Z"


class Scale:
    """From figures to a stretch of the drawing, which may run upwards."""

    def __init__(self, low: float, high: float, begin: float, end: float) -> None:
        spare = 0.08 * (high - low) or 1.0
        self.low, self.high = low - spare, high + spare
        self.begin, self.end = begin, end

    def __call__(self, value: float) -> float:
        """Where a figure stands."""
        share = (value - self.low) / (self.high - self.low)
        return self.begin + share * (self.end - self.begin)

    def ticks(self) -> list[float]:
        """Round figures within it."""
        step = step_for(self.high - self.low)
        first = int(self.low // step) + 1
        return [k * step for k in range(first, int(self.high // step) + 1)]


def upright(drawing: Drawing, scale: Scale, words: str) -> None:
    """The axis at the left of a scale that runs upwards."""
    drawing.line(LEFT - 8, scale.end, LEFT - 8, scale.begin)
    for tick in scale.ticks():
        drawing.line(LEFT - 12, scale(tick), LEFT - 8, scale(tick))
        drawing.text(LEFT - 16, scale(tick) + 4, f"{tick:.4g}", MUTED, size=11, anchor="end")
    drawing.text(8, scale.end - 10, words, INK, size=11)


def level(drawing: Drawing, scale: Scale, words: str, bottom: float = BOTTOM) -> None:
    """The axis below what is drawn down to there."""
    y = bottom + 8
    drawing.line(LEFT, y, RIGHT, y)
    for tick in scale.ticks():
        drawing.line(scale(tick), y, scale(tick), y + 4)
        drawing.text(scale(tick), y + 17, f"{tick:.4g}", MUTED, size=11, anchor="middle")
    drawing.text((LEFT + RIGHT) / 2, y + 34, words, INK, size=11, anchor="middle")


def time_ticks(scale: Scale) -> list[tuple[float, str]]:
    """Round instants within a scale in Unix time, and how they are called, in UTC."""
    span_s = scale.high - scale.low
    step = next((one for one in TIME_STEPS_S if span_s / one <= TIME_TICKS), TIME_STEPS_S[-1])
    form = "%m-%d %H:%M" if step < _DAY_S else "%Y-%m-%d"
    first = int(scale.low // step) + 1
    instants = [float(k * step) for k in range(first, int(scale.high // step) + 1)]
    return [(at, f"{datetime.fromtimestamp(at, UTC):{form}}") for at in instants]


def level_time(drawing: Drawing, scale: Scale, words: str, bottom: float = BOTTOM) -> None:
    """The axis of time below what is drawn down to there."""
    y = bottom + 8
    drawing.line(LEFT, y, RIGHT, y)
    for at, called in time_ticks(scale):
        drawing.line(scale(at), y, scale(at), y + 4)
        drawing.text(scale(at), y + 17, called, MUTED, size=11, anchor="middle")
    drawing.text((LEFT + RIGHT) / 2, y + 34, words, INK, size=11, anchor="middle")
