"""What an operator read of a joint, drawn: every reading, and the figures made of them."""

from collections.abc import Sequence
from math import hypot
from typing import Final

from coordinator.accuracy.repeatability import Repeatability
from coordinator.accuracy.reversal import Reversal
from coordinator.pictures.svg import BAR, INK, MUTED, Drawing, step_for

_WIDTH: Final = 640.0
_LEFT: Final = 84.0
_RIGHT: Final = 616.0
_TOP: Final = 48.0
_BOTTOM: Final = 360.0
_DOT: Final = "M -3 0 A 3 3 0 1 0 3 0 A 3 3 0 1 0 -3 0 Z"
_UP: Final = "M -5 5 L 0 -5 L 5 5 Z"
_DOWN: Final = "M -5 -5 L 0 5 L 5 -5 Z"


class _Scale:
    """From figures to a stretch of the drawing, which may run upwards."""

    def __init__(self, low: float, high: float, begin: float, end: float) -> None:
        spare = 0.08 * (high - low) or 1.0
        self.low, self.high = low - spare, high + spare
        self._begin, self._end = begin, end

    def __call__(self, value: float) -> float:
        share = (value - self.low) / (self.high - self.low)
        return self._begin + share * (self._end - self._begin)

    def ticks(self) -> list[float]:
        """Round figures within it."""
        step = step_for(self.high - self.low)
        first = int(self.low // step) + 1
        return [k * step for k in range(first, int(self.high // step) + 1)]


def pose_picture(
    name: str, found: Repeatability, deviations: Sequence[tuple[float, ...]], unit: str
) -> str:
    """An SVG's text: where the readings lie. In one direction they stand in the order of reading;
    of three the first two are drawn.
    """
    drawing = Drawing(_WIDTH, f"{name}: {found.count} readings at one pose")
    drawing.text(_LEFT, 24, drawing.title, bold=True)
    reach = found.repeatability
    if len(found.middle) == 1:
        x = _Scale(1.0, float(found.count), _LEFT, _RIGHT)
        values = [one[0] for one in deviations]
        low, high = found.middle[0] - reach, found.middle[0] + reach
        y = _Scale(min(low, *values), max(high, *values), _BOTTOM, _TOP)
        for level, words in ((low, "− RP"), (found.middle[0], "middle"), (high, "+ RP")):
            drawing.line(_LEFT, y(level), _RIGHT, y(level), dashed=words != "middle")
            drawing.text(_RIGHT, y(level) - 4, words, MUTED, size=11, anchor="end")
        for k, value in enumerate(values, 1):
            drawing.shape(x(k), y(value), _DOT, filled=True, tip=f"{k}: {value:g} {unit}")
        _upright(drawing, y, f"deviation, {unit}")
        _level(drawing, x, "reading")
        return drawing.finish(_BOTTOM + 48)
    # One scale for both ways, so that a circle is round.
    middle_x, middle_y = found.middle[:2]
    span = max(reach, *(hypot(one[0] - middle_x, one[1] - middle_y) for one in deviations))
    half = (_BOTTOM - _TOP) / 2
    centre = (_LEFT + _RIGHT) / 2
    x = _Scale(middle_x - span, middle_x + span, centre - half, centre + half)
    y = _Scale(middle_y - span, middle_y + span, _BOTTOM, _TOP)
    radius = x(middle_x + reach) - x(middle_x)
    drawing.shape(
        x(middle_x), y(middle_y),
        f"M {-radius:.1f} 0 A {radius:.1f} {radius:.1f} 0 1 0 {radius:.1f} 0 "
        f"A {radius:.1f} {radius:.1f} 0 1 0 {-radius:.1f} 0 Z",
        filled=False, tip=f"RP {reach:.4g} {unit}",
    )  # fmt: skip
    for k, one in enumerate(deviations, 1):
        tip = f"{k}: " + ", ".join(f"{value:g}" for value in one) + f" {unit}"
        drawing.shape(x(one[0]), y(one[1]), _DOT, filled=True, tip=tip)
    _upright(drawing, y, f"y, {unit}")
    _level(drawing, x, f"x, {unit}; the circle is RP around the middle")
    return drawing.finish(_BOTTOM + 48)


def reversal_picture(name: str, found: Reversal) -> str:
    """An SVG's text: the means from below and above at each target, with two standard deviations
    either way.
    """
    drawing = Drawing(_WIDTH, f"{name}: from below and from above")
    drawing.text(_LEFT, 24, drawing.title, bold=True)
    sides = [side for one in found.targets for side in (one.below, one.above)]
    x = _Scale(found.targets[0].at, found.targets[-1].at, _LEFT, _RIGHT)
    y = _Scale(
        min(one.mean - 2.0 * one.deviation for one in sides),
        max(one.mean + 2.0 * one.deviation for one in sides),
        _BOTTOM,
        _TOP,
    )
    for target in found.targets:
        pairs = ((target.below, _UP, -4.0, "below"), (target.above, _DOWN, 4.0, "above"))
        for one, shape, aside, side in pairs:
            at = x(target.at) + aside
            spread = 2.0 * one.deviation
            drawing.line(at, y(one.mean - spread), at, y(one.mean + spread), BAR)
            tip = f"{target.at:g}° from {side}: {one.mean:.4g}°, {one.count} readings"
            drawing.shape(at, y(one.mean), shape, filled=side == "below", tip=tip)
    _upright(drawing, y, "deviation, deg")
    _level(drawing, x, "target, deg; filled: from below, open: from above; bars: ± 2 s")
    return drawing.finish(_BOTTOM + 48)


def _upright(drawing: Drawing, scale: _Scale, words: str) -> None:
    drawing.line(_LEFT - 8, _TOP, _LEFT - 8, _BOTTOM)
    for tick in scale.ticks():
        drawing.line(_LEFT - 12, scale(tick), _LEFT - 8, scale(tick))
        drawing.text(_LEFT - 16, scale(tick) + 4, f"{tick:.4g}", MUTED, size=11, anchor="end")
    drawing.text(8, _TOP - 10, words, INK, size=11)


def _level(drawing: Drawing, scale: _Scale, words: str) -> None:
    y = _BOTTOM + 8
    drawing.line(_LEFT, y, _RIGHT, y)
    for tick in scale.ticks():
        drawing.line(scale(tick), y, scale(tick), y + 4)
        drawing.text(scale(tick), y + 17, f"{tick:.4g}", MUTED, size=11, anchor="middle")
    drawing.text((_LEFT + _RIGHT) / 2, y + 34, words, INK, size=11, anchor="middle")
