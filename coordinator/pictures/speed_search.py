"""The speeds that a search tried, drawn."""

from coordinator.accuracy.speed_search import SpeedFound
from coordinator.pictures.axes import BOTTOM, DOT, LEFT, RIGHT, TOP, WIDTH, Scale, level, upright
from coordinator.pictures.svg import ATTENTION, MUTED, Drawing

_CROSS = "M -5 -5 L 5 5 M -5 5 L 5 -5"


def speed_picture(joint: str, found: SpeedFound) -> str:
    """An SVG's text: each speed in the order of trying, the one with lost steps crossed, and the
    limit that comes of it.
    """
    drawing = Drawing(WIDTH, f"{joint}: speeds tried, with a look at the home edge after each way")
    drawing.text(LEFT, 24, drawing.title, bold=True)
    x = Scale(1.0, max(float(len(found.tried)), 6.0), LEFT, RIGHT)
    y = Scale(0.0, max(one.speed_deg_s for one in found.tried), BOTTOM, TOP)
    lines = [(found.highest, "highest without a lost step", MUTED)]
    if found.limit is not None:
        lines.append((found.limit, "limit", ATTENTION))
    for at, words, colour in lines:
        drawing.line(LEFT, y(at), RIGHT, y(at), colour, dashed=True)
        drawing.text(RIGHT, y(at) - 4, words, colour, size=11, anchor="end")
    for k, one in enumerate(found.tried, 1):
        tip = f"{one.speed_deg_s:.4g}°/s, {one.ways} ways: {one.lost or 'no step lost'}"
        shape = _CROSS if one.lost else DOT
        drawing.shape(x(k), y(one.speed_deg_s), shape, filled=not one.lost, tip=tip)
    upright(drawing, y, "speed, deg/s")
    level(drawing, x, "speed, one after another; crossed: steps were lost")
    return drawing.finish(BOTTOM + 48)
