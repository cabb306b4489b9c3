"""How far a joint turned for what it was told, drawn."""

from collections.abc import Sequence

from coordinator.accuracy.gear import Gear
from coordinator.pictures.axes import BOTTOM, DOT, LEFT, RIGHT, TOP, WIDTH, Scale, level, upright
from coordinator.pictures.svg import MUTED, Drawing

_ROUND = 6.0
"""Turns that the axis has room for at least, so that its figures are whole numbers."""


def gear_picture(name: str, found: Gear, commanded: Sequence[float], read: Sequence[float]) -> str:
    """An SVG's text: every reading, the fitted line, and, dashed, the one of a joint that turns as
    far as it is told. Degrees.
    """
    drawing = Drawing(WIDTH, f"{name}: read angles over commanded ones, {found.count} readings")
    drawing.text(LEFT, 24, drawing.title, bold=True)
    x = Scale(min(commanded), max(commanded), LEFT, RIGHT)
    ends = (min(commanded), max(commanded))
    told = [found.offset + one for one in ends]
    fit = [found.offset + found.share * one for one in ends]
    y = Scale(min(*read, *told, *fit), max(*read, *told, *fit), BOTTOM, TOP)
    drawing.line(x(ends[0]), y(told[0]), x(ends[1]), y(told[1]), dashed=True)
    drawing.line(x(ends[0]), y(fit[0]), x(ends[1]), y(fit[1]), MUTED)
    for k, (at, value) in enumerate(zip(commanded, read, strict=True), 1):
        rest = value - found.offset - found.share * at
        tip = f"{k}: {value:g}° at {at:g}°, {rest:+.3g}° from the line"
        drawing.shape(x(at), y(value), DOT, filled=True, tip=tip)
    upright(drawing, y, "read, deg")
    level(drawing, x, "commanded, deg; dashed: as far as it was told")
    return drawing.finish(BOTTOM + 48)


def turns_picture(joint: str, found: Gear, believed: Sequence[float]) -> str:
    """An SVG's text: by how much the joint believed to turn in each whole turn."""
    drawing = Drawing(WIDTH, f"{joint}: {found.count} whole turns between two passes of home")
    drawing.text(LEFT, 24, drawing.title, bold=True)
    x = Scale(1.0, max(float(found.count), _ROUND), LEFT, RIGHT)
    y = Scale(min(360.0, *believed), max(360.0, *believed), BOTTOM, TOP)
    for at, words in ((360.0, "a turn"), (360.0 / found.share, "found")):
        drawing.line(LEFT, y(at), RIGHT, y(at), dashed=words == "a turn")
        drawing.text(RIGHT, y(at) - 4, words, MUTED, size=11, anchor="end")
    for k, one in enumerate(believed, 1):
        drawing.shape(x(k), y(one), DOT, filled=True, tip=f"turn {k}: {one:.4f}° believed")
    upright(drawing, y, "believed, deg")
    level(drawing, x, "turn; dashed: what a turn is")
    return drawing.finish(BOTTOM + 48)
