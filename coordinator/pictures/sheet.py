"""What all parts of a program's picture share: its width, its time axis, what stands behind."""

from collections.abc import Iterator, Sequence
from typing import Final

from coordinator.motion.marks import CurveMark, MarkKind
from coordinator.pictures.svg import MUTED, Drawing, step_for

WIDTH: Final = 900.0
LEFT: Final = 76.0
RIGHT: Final = 806.0
TICKS: Final = 10
STOPS: Final = (MarkKind.PAUSE, MarkKind.WAIT)


class Sheet:
    """A drawing with a time axis from 0 to the program's end."""

    def __init__(self, drawing: Drawing, duration_s: float) -> None:
        self.drawing = drawing
        self._end_s = duration_s or 1.0

    def x(self, time_s: float) -> float:
        """Where a time is."""
        return LEFT + (RIGHT - LEFT) * min(1.0, time_s / self._end_s)

    def behind(self, top: float, height: float, marks: Sequence[CurveMark]) -> None:
        """Dwells in grey, and a dashed line where the arm waits for somebody or something."""
        for mark in marks:
            if mark.kind is MarkKind.DWELL:
                width = self.x(mark.end_s) - self.x(mark.begin_s)
                self.drawing.rectangle(self.x(mark.begin_s), top, width, height, "#eeeeee")
        for mark in marks:
            if mark.kind in STOPS:
                at = self.x(mark.begin_s)
                self.drawing.line(at, top, at, top + height, dashed=True)

    def axis(self, y: float) -> None:
        """Seconds."""
        self.drawing.line(LEFT, y, RIGHT, y)
        for time_s, is_last in self._ticks():
            x = self.x(time_s)
            self.drawing.line(x, y, x, y + 4)
            said = f"{time_s:g}" + (" s" if is_last else "")
            self.drawing.text(x, y + 16, said, MUTED, size=11, anchor="middle")

    def _ticks(self) -> Iterator[tuple[float, bool]]:
        step_s = step_for(self._end_s, TICKS)
        count = int(self._end_s / step_s + 1e-9)
        for k in range(count + 1):
            yield round(k * step_s, 9), k == count
