"""What a program would do, in one picture for a sheet of paper: every joint against its limits.

Under the joints stand, on the same time axis, the lines that are played and what happens in them.
Shapes and dashes tell all of it, no colour.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from coordinator.motion.curves import Curves
from coordinator.pictures.program_marks import draw_marks
from coordinator.pictures.sheet import LEFT, RIGHT, WIDTH, Sheet
from coordinator.pictures.svg import FAINT, INK, MUTED, Drawing, short

PANEL: Final = 52.0
GAP: Final = 7.0
COLUMNS: Final = round(RIGHT - LEFT)
"""Of a curve: there are no more pixels."""
MARGIN: Final = 1.12
"""A scale ends so far beyond what it must show."""
LEAST_SPAN_DEG: Final = 2.0
"""Of an angle's scale: a joint that rests shall not look as if it trembled."""
LONGEST_TITLE: Final = 84
LONGEST_NAME: Final = 24


@dataclass(frozen=True, slots=True)
class _Panel:
    """One curve, with the lines that it must keep within."""

    words: str
    unit: str
    low: Sequence[float]
    high: Sequence[float]
    bottom: float
    top: float
    solid: tuple[float, ...] = ()
    dashed: tuple[float, ...] = ()

    def y(self, top: float, value: float) -> float:
        """Where a value is in a panel that begins there, never outside of it."""
        share = (self.top - value) / (self.top - self.bottom)
        return top + PANEL * min(1.0, max(0.0, share))


def program_picture(program: str, arm: str, curves: Curves) -> str:
    """An SVG file's text."""
    begins = "where the arm stands" if curves.begins == "here" else "the pose park"
    title = f"{program} on {arm}"
    sheet = Sheet(Drawing(WIDTH, title), curves.duration_s)
    sheet.drawing.text(16, 28, short(title, LONGEST_TITLE), size=16, bold=True)
    told = (
        f"{curves.duration_s:.1f} s at full speed from {begins}; pauses and waits take no time here"
    )
    sheet.drawing.text(16, 46, told, MUTED, size=12)
    y = 70.0
    for name in curves.low_deg:
        panels = _panels(curves, name)
        sheet.drawing.text(16, y, short(name, LONGEST_NAME), bold=True)
        sheet.drawing.text(RIGHT, y, _in_words(curves, name), MUTED, size=12, anchor="end")
        y += 7
        sheet.behind(y, len(panels) * (PANEL + GAP) - GAP, curves.marks)
        for panel in panels:
            _draw(sheet, y, panel, curves)
            y += PANEL + GAP
        y += 16
    return sheet.drawing.finish(draw_marks(sheet, y, curves) + 16)


def _panels(curves: Curves, name: str) -> tuple[_Panel, _Panel, _Panel]:
    low, high = curves.low_deg[name], curves.high_deg[name]
    middle = (min(low) + max(high)) / 2.0
    half = max(LEAST_SPAN_DEG, max(high) - min(low)) * MARGIN / 2.0
    ends = tuple(end for end in curves.range_deg[name] or () if abs(end - middle) <= half)
    angle = _Panel("angle", "°", low, high, middle - half, middle + half, solid=ends)
    limit = curves.velocity_deg_s[name]
    speed = _both_ways("speed", "°/s", curves.low_deg_s[name], curves.high_deg_s[name], limit)
    most, planned = curves.acceleration_deg_s2[name], curves.plan_deg_s2[name]
    least, greatest = curves.low_deg_s2[name], curves.high_deg_s2[name]
    return angle, speed, _both_ways("acceleration", "°/s²", least, greatest, most, planned)


def _both_ways(
    words: str,
    unit: str,
    low: Sequence[float],
    high: Sequence[float],
    limit: float,
    planned: float | None = None,
) -> _Panel:
    most = MARGIN * max(limit, max(high), -min(low))
    dashed = () if planned is None else (planned, -planned)
    return _Panel(words, unit, low, high, -most, most, (limit, -limit), dashed)


def _in_words(curves: Curves, name: str) -> str:
    """What the curves of a joint come to, against its limits."""
    within = curves.range_deg[name]
    may = (
        "turns without end"
        if within is None
        else f"range {_figure(within[0])}° to {_figure(within[1])}°"
    )
    fastest = max(max(curves.high_deg_s[name]), -min(curves.low_deg_s[name]))
    hardest = max(max(curves.high_deg_s2[name]), -min(curves.low_deg_s2[name]))
    return (
        f"{_figure(min(curves.low_deg[name]))}° to {_figure(max(curves.high_deg[name]))}°, {may}; "
        f"up to {_figure(fastest)} of {curves.velocity_deg_s[name]:g} °/s; "
        f"up to {_figure(hardest)} of {curves.acceleration_deg_s2[name]:g} °/s², "
        f"a plan may use {curves.plan_deg_s2[name]:g}"
    )


def _draw(sheet: Sheet, top: float, panel: _Panel, curves: Curves) -> None:
    drawing = sheet.drawing
    if panel.bottom < 0.0 < panel.top:
        drawing.line(LEFT, panel.y(top, 0.0), RIGHT, panel.y(top, 0.0), FAINT)
    for values, dashed in ((panel.solid, False), (panel.dashed, True)):
        for value in values:
            drawing.line(LEFT, panel.y(top, value), RIGHT, panel.y(top, value), dashed=dashed)
    drawing.area(_outline(sheet, top, panel, curves.time_s))
    # Limits where there are any, else what is reached.
    for value in panel.solid if len(panel.solid) == 2 else (min(panel.low), max(panel.high)):
        unit = panel.unit if panel.unit == "°" else f" {panel.unit}"
        said = f"{_figure(value)}{unit}"
        drawing.text(LEFT - 6, panel.y(top, value) + 4, said, MUTED, size=10, anchor="end")
    drawing.text(RIGHT + 6, top + PANEL / 2 + 4, panel.words, INK, size=12)


def _outline(
    sheet: Sheet, top: float, panel: _Panel, time_s: Sequence[float]
) -> list[tuple[float, float]]:
    """Along what is reached at most and back along the least, a column for each pixel."""
    each = math.ceil(len(time_s) / COLUMNS)
    groups = range(0, len(time_s), each)
    begin = [sheet.x(time_s[k]) for k in groups]
    middle = [(a + b) / 2 for a, b in pairwise([*begin, RIGHT])]
    middle[0], middle[-1] = LEFT, (RIGHT if len(middle) > 1 else LEFT)
    highest = [panel.y(top, max(panel.high[k : k + each])) for k in groups]
    lowest = [panel.y(top, min(panel.low[k : k + each])) for k in groups]
    there = list(zip(middle, highest, strict=True))
    back = list(zip(middle, lowest, strict=True))[::-1]
    return there + back


def _figure(value: float) -> str:
    """With a decimal at most, and a true minus sign."""
    return f"{round(value, 1) + 0.0:g}".replace("-", "−")
