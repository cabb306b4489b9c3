"""Under the joints of a program's picture: its lines, and what happens in them, row by row."""

from collections.abc import Callable
from typing import Final

from coordinator.motion.curves import Curves
from coordinator.motion.marks import CurveMark, MarkKind
from coordinator.pictures.sheet import LEFT, RIGHT, STOPS, WIDTH, Sheet
from coordinator.pictures.svg import INK, MUTED, short

ROW: Final = 20.0
DIGIT: Final = 7.0
"""Width of a character, so that no two words run into each other."""
MOST_TOLD: Final = 24
"""Outputs, pauses and waits in words: what a sheet has room for."""
LONGEST_TOLD: Final = 58
UP: Final = "M-4.5 4H4.5L0 -4Z"
DOWN: Final = "M-4.5 -4H4.5L0 4Z"
RING: Final = "M-3 0a3 3 0 1 0 6 0a3 3 0 1 0 -6 0Z"
BARS: Final = "M-3.5 -5H-1V5H-3.5ZM1 -5H3.5V5H1Z"
HOURGLASS: Final = "M-4 -5H4L-4 5H4Z"


def draw_marks(sheet: Sheet, y: float, curves: Curves) -> float:
    """Rows of lines and marks, the time axis, and outputs and stops in words; where that ends."""
    y = _lines(sheet, y, curves)
    for label, kinds, draw in (
        ("dwell", (MarkKind.DWELL,), _dwell),
        ("passed", (MarkKind.PASSED,), _passed),
        ("overtravel", (MarkKind.OVERTRAVEL,), _overtravel),
        ("output", (MarkKind.OUTPUT,), _output),
        ("pause, wait", STOPS, _stop),
    ):
        more = sum(curves.more_marks.get(kind, 0) for kind in kinds)
        marks = [mark for mark in curves.marks if mark.kind in kinds]
        if kinds == (MarkKind.OVERTRAVEL,) and not marks:
            continue  # most arms have no approach side
        y = _row(sheet, y, label, marks, more, draw)
    sheet.axis(y)
    y += 34
    legend = (
        "passed: a move's end without a stop (ring); output: on ▲, off ▽; pause ‖, wait (hourglass)"
    )
    sheet.drawing.text(LEFT, y, legend, MUTED, size=11)
    return _in_words(sheet, y + 18, curves)


def mark_words(mark: CurveMark) -> str:
    """A mark for people."""
    at = f"{mark.begin_s:.2f} s, line {mark.line}: "
    switched = f"{mark.name} {'on' if mark.on else 'off'}"
    return at + {
        MarkKind.DWELL: f"dwells for {mark.end_s - mark.begin_s:g} s",
        MarkKind.PASSED: "passes its end without a stop",
        MarkKind.OVERTRAVEL: f"overtravels and comes back in {mark.end_s - mark.begin_s:.2f} s",
        MarkKind.OUTPUT: switched,
        MarkKind.PAUSE: "pauses until it is resumed",
        MarkKind.WAIT: f"waits for {mark.name} to be {'on' if mark.on else 'off'}",
    }.get(mark.kind, str(mark.kind))


def _lines(sheet: Sheet, y: float, curves: Curves) -> float:
    """A tick where another line is played, with its number where there is room."""
    sheet.drawing.text(LEFT - 6, y + 4, "line", INK, size=11, anchor="end")
    free, latest = LEFT, 0
    for time_s, line in zip(curves.time_s, curves.lines, strict=True):
        if line == latest:
            continue
        latest, x = line, sheet.x(time_s)
        said = str(line)
        has_room = x >= free and x + 3 + DIGIT * len(said) < RIGHT
        # Where lines are many, ticks without a number stay below the numbers.
        sheet.drawing.line(x, y - 7 if has_room else y + 5, x, y + 8)
        if has_room:
            sheet.drawing.text(x + 3, y + 3, said, INK, size=10)
            free = x + 6 + DIGIT * len(said)
    return y + ROW


def _row(
    sheet: Sheet,
    y: float,
    label: str,
    marks: list[CurveMark],
    more: int,
    draw: Callable[[Sheet, float, CurveMark], None],
) -> float:
    sheet.drawing.text(LEFT - 6, y + 4, label, INK, size=11, anchor="end")
    if not marks:
        sheet.drawing.text(LEFT + 3, y + 4, "none", MUTED, size=10)
    for mark in marks:
        draw(sheet, y, mark)
    if more:
        # Else it would look as if there were none behind the last.
        said = f"and {more} more, not drawn"
        x, anchor = max(sheet.x(mark.begin_s) for mark in marks), "start"
        if x + 10 + DIGIT * len(said) > RIGHT:
            anchor = "end"
        sheet.drawing.text(
            x + (10 if anchor == "start" else -10), y + 4, said, size=11, anchor=anchor
        )
    return y + ROW


def _dwell(sheet: Sheet, y: float, mark: CurveMark) -> None:
    x = sheet.x(mark.begin_s)
    width = max(1.5, sheet.x(mark.end_s) - x)
    sheet.drawing.rectangle(x, y - 4, width, 8, INK, tip=mark_words(mark))


def _passed(sheet: Sheet, y: float, mark: CurveMark) -> None:
    sheet.drawing.shape(sheet.x(mark.begin_s), y, RING, filled=False, tip=mark_words(mark))


def _overtravel(sheet: Sheet, y: float, mark: CurveMark) -> None:
    x = sheet.x(mark.begin_s)
    width = max(1.5, sheet.x(mark.end_s) - x)
    sheet.drawing.rectangle(x, y - 1.5, width, 3, INK, tip=mark_words(mark))


def _output(sheet: Sheet, y: float, mark: CurveMark) -> None:
    path, on = (UP, True) if mark.on else (DOWN, False)
    sheet.drawing.shape(sheet.x(mark.begin_s), y, path, filled=on, tip=mark_words(mark))


def _stop(sheet: Sheet, y: float, mark: CurveMark) -> None:
    path = BARS if mark.kind is MarkKind.PAUSE else HOURGLASS
    tip = mark_words(mark)
    sheet.drawing.shape(sheet.x(mark.begin_s), y, path, filled=mark.kind is MarkKind.PAUSE, tip=tip)


def _in_words(sheet: Sheet, y: float, curves: Curves) -> float:
    """What is switched and what is waited for, in two columns."""
    kinds = (MarkKind.OUTPUT, *STOPS)
    told = [mark_words(mark) for mark in curves.marks if mark.kind in kinds]
    more = len(told) - MOST_TOLD + sum(curves.more_marks.get(kind, 0) for kind in kinds)
    shown = told[:MOST_TOLD]
    if more > 0:
        shown.append(f"and {more} more")
    half = (len(shown) + 1) // 2
    for k, said in enumerate(shown):
        x = LEFT if k < half else WIDTH / 2
        sheet.drawing.text(x, y + 16 * (k % half), short(said, LONGEST_TOLD), INK, size=11)
    return y + 16 * half
