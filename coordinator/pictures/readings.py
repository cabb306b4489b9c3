"""What an operator read of a joint, drawn: every reading, and the figures made of them."""

from collections.abc import Sequence
from math import hypot
from typing import Final

from coordinator.accuracy.repeatability import Repeatability
from coordinator.accuracy.reversal import Reversal
from coordinator.pictures.axes import (
    BOTTOM,
    DOT,
    LEFT,
    RIGHT,
    TOP,
    WIDTH,
    Scale,
    level,
    upright,
)
from coordinator.pictures.svg import BAR, MUTED, Drawing

_UP: Final = "M -5 5 L 0 -5 L 5 5 Z"
_DOWN: Final = "M -5 -5 L 0 5 L 5 -5 Z"


def pose_picture(
    name: str, found: Repeatability, deviations: Sequence[tuple[float, ...]], unit: str
) -> str:
    """An SVG's text: where the readings lie. In one direction they stand in the order of reading;
    of three the first two are drawn.
    """
    drawing = Drawing(WIDTH, f"{name}: {found.count} readings at one pose")
    drawing.text(LEFT, 24, drawing.title, bold=True)
    reach = found.repeatability
    if len(found.middle) == 1:
        x = Scale(1.0, float(found.count), LEFT, RIGHT)
        values = [one[0] for one in deviations]
        low, high = found.middle[0] - reach, found.middle[0] + reach
        y = Scale(min(low, *values), max(high, *values), BOTTOM, TOP)
        for at, words in ((low, "− RP"), (found.middle[0], "middle"), (high, "+ RP")):
            drawing.line(LEFT, y(at), RIGHT, y(at), dashed=words != "middle")
            drawing.text(RIGHT, y(at) - 4, words, MUTED, size=11, anchor="end")
        for k, value in enumerate(values, 1):
            drawing.shape(x(k), y(value), DOT, filled=True, tip=f"{k}: {value:g} {unit}")
        upright(drawing, y, f"deviation, {unit}")
        level(drawing, x, "reading")
        return drawing.finish(BOTTOM + 48)
    # One scale for both ways, so that a circle is round.
    middle_x, middle_y = found.middle[:2]
    span = max(reach, *(hypot(one[0] - middle_x, one[1] - middle_y) for one in deviations))
    half = (BOTTOM - TOP) / 2
    centre = (LEFT + RIGHT) / 2
    x = Scale(middle_x - span, middle_x + span, centre - half, centre + half)
    y = Scale(middle_y - span, middle_y + span, BOTTOM, TOP)
    radius = x(middle_x + reach) - x(middle_x)
    drawing.shape(
        x(middle_x), y(middle_y),
        f"M {-radius:.1f} 0 A {radius:.1f} {radius:.1f} 0 1 0 {radius:.1f} 0 "
        f"A {radius:.1f} {radius:.1f} 0 1 0 {-radius:.1f} 0 Z",
        filled=False, tip=f"RP {reach:.4g} {unit}",
    )  # fmt: skip
    for k, one in enumerate(deviations, 1):
        tip = f"{k}: " + ", ".join(f"{value:g}" for value in one) + f" {unit}"
        drawing.shape(x(one[0]), y(one[1]), DOT, filled=True, tip=tip)
    upright(drawing, y, f"y, {unit}")
    level(drawing, x, f"x, {unit}; the circle is RP around the middle")
    return drawing.finish(BOTTOM + 48)


def reversal_picture(name: str, found: Reversal) -> str:
    """An SVG's text: the means from below and above at each target, with two standard deviations
    either way.
    """
    drawing = Drawing(WIDTH, f"{name}: from below and from above")
    drawing.text(LEFT, 24, drawing.title, bold=True)
    sides = [side for one in found.targets for side in (one.below, one.above)]
    x = Scale(found.targets[0].at, found.targets[-1].at, LEFT, RIGHT)
    y = Scale(
        min(one.mean - 2.0 * one.deviation for one in sides),
        max(one.mean + 2.0 * one.deviation for one in sides),
        BOTTOM,
        TOP,
    )
    for target in found.targets:
        pairs = ((target.below, _UP, -4.0, "below"), (target.above, _DOWN, 4.0, "above"))
        for one, shape, aside, side in pairs:
            at = x(target.at) + aside
            spread = 2.0 * one.deviation
            drawing.line(at, y(one.mean - spread), at, y(one.mean + spread), BAR)
            tip = f"{target.at:g}° from {side}: {one.mean:.4g}°, {one.count} readings"
            drawing.shape(at, y(one.mean), shape, filled=side == "below", tip=tip)
    upright(drawing, y, "deviation, deg")
    level(drawing, x, "target, deg; filled: from below, open: from above; bars: ± 2 s")
    return drawing.finish(BOTTOM + 48)
