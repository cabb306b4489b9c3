"""What each homing found of a joint's play, drawn."""

from coordinator.accuracy.edge_reversal import EdgeReversal
from coordinator.pictures.axes import BOTTOM, DOT, LEFT, RIGHT, TOP, WIDTH, Scale, level, upright
from coordinator.pictures.svg import ATTENTION, MUTED, Drawing

_ROUND = 6.0
"""Homings that the axis has room for at least, so that its figures are whole numbers."""


def edge_reversal_picture(joint: str, found: EdgeReversal) -> str:
    """An SVG's text: how much later each homing met its edges either way, and the bound."""
    drawing = Drawing(WIDTH, f"{joint}: play at most, by the home edges of {found.count} homings")
    drawing.text(LEFT, 24, drawing.title, bold=True)
    x = Scale(1.0, max(float(found.count), _ROUND), LEFT, RIGHT)
    y = Scale(min(0.0, *found.found), max(found.bound, *found.found), BOTTOM, TOP)
    for at, words, colour in (
        (found.mean, "mean", MUTED),
        (found.bound, f"at most: mean and {found.factor:.3g} standard uncertainties", ATTENTION),
    ):
        drawing.line(LEFT, y(at), RIGHT, y(at), colour, dashed=colour == ATTENTION)
        drawing.text(RIGHT, y(at) - 4, words, colour, size=11, anchor="end")
    for k, one in enumerate(found.found, 1):
        drawing.shape(x(k), y(one), DOT, filled=True, tip=f"homing {k} of these: {one:.4g}°")
    upright(drawing, y, "edges met later in either direction, deg")
    level(drawing, x, "homing, oldest first; the home sensor's own hysteresis is in it")
    return drawing.finish(BOTTOM + 48)
