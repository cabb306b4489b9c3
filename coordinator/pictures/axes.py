"""Two axes with round figures at them, on a drawing of one size."""

from typing import Final

from coordinator.pictures.svg import INK, MUTED, Drawing, step_for

WIDTH: Final = 640.0
LEFT: Final = 84.0
RIGHT: Final = 616.0
TOP: Final = 48.0
BOTTOM: Final = 360.0
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
