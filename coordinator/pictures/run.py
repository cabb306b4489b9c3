"""What a run was, drawn for a sheet of paper: when it was under way, and how its joints began.

Shapes tell all of it, no colour.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from coordinator.pictures.sheet import LEFT, RIGHT, WIDTH, Sheet
from coordinator.pictures.svg import BAR, INK, MUTED, Drawing, short, step_for

START: Final = "M -5 5 L 0 -5 L 5 5 Z"
HOLD: Final = "M -4 -4 L 4 -4 L 4 4 L -4 4 Z"
ROW: Final = 22.0
NAMES: Final = 150.0
"""Where a joint's name ends and its bar may begin."""
LONGEST_NAME: Final = 18


@dataclass(frozen=True, slots=True)
class Span:
    """From a start to what came next, in s since the run began; None where that is not known."""

    start_s: float
    next_s: float | None
    held: bool
    """Whether that was a hold."""


def course_picture(
    duration_s: float, spans: Sequence[Span], gap: tuple[float, float] | None = None
) -> str:
    """An SVG's text: a run of this duration, its starts and holds, in s since it began.

    In the `gap` nothing is known.
    """
    sheet = Sheet(Drawing(WIDTH, "the course of the run"), duration_s)
    drawing = sheet.drawing
    for span in spans:
        begin = sheet.x(span.start_s)
        end = begin if span.next_s is None else sheet.x(span.next_s)
        drawing.rectangle(begin, 22, max(1.0, end - begin), 12)
    for span in spans:
        drawing.shape(sheet.x(span.start_s), 14, START, filled=True)
        if span.held and span.next_s is not None:
            drawing.shape(sheet.x(span.next_s), 42, HOLD, filled=False)
    if gap is not None:
        drawing.line(sheet.x(gap[0]), 28, sheet.x(gap[1]), 28, dashed=True)
    drawing.text(LEFT - 8, 18, "start", MUTED, size=11, anchor="end")
    drawing.text(LEFT - 8, 32, "to the next", MUTED, size=11, anchor="end")
    drawing.text(LEFT - 8, 46, "hold", MUTED, size=11, anchor="end")
    sheet.axis(54)
    return drawing.finish(80)


def start_picture(proved_us: Mapping[str, tuple[float, float] | None]) -> str:
    """An SVG's text: when each joint is proved to have begun, in µs from the common instant.

    One bar a joint, from the earliest to the latest instant; None where nothing is proved.
    """
    drawing = Drawing(WIDTH, "when each joint began")
    ends = [end for proved in proved_us.values() if proved for end in proved]
    low, high = min([*ends, 0.0]), max([*ends, 0.0])
    span = (high - low) or 1.0
    low, high = low - 0.04 * span, high + 0.04 * span

    def x(at_us: float) -> float:
        return NAMES + (RIGHT - NAMES) * (at_us - low) / (high - low)

    y = 10.0
    for name, proved in proved_us.items():
        drawing.text(NAMES - 10, y + 11, short(name, LONGEST_NAME), INK, size=12, anchor="end")
        if proved is None:
            drawing.text(x(0.0) + 8, y + 11, "nothing is proved", MUTED, size=12)
        else:
            drawing.rectangle(x(proved[0]), y + 2, max(1.5, x(proved[1]) - x(proved[0])), 11, BAR)
        y += ROW
    drawing.line(x(0.0), 4, x(0.0), y, INK, dashed=True)
    drawing.line(NAMES, y, RIGHT, y)
    step = step_for(high - low, 8)
    for k in range(int(low // step) + 1, int(high // step) + 1):
        drawing.line(x(k * step), y, x(k * step), y + 4)
        said = f"{k * step:g}".replace("-", "−")
        drawing.text(x(k * step), y + 16, said, MUTED, size=11, anchor="middle")
    drawing.text(RIGHT + 34, y + 16, "µs", MUTED, size=11)
    return drawing.finish(y + 24)
