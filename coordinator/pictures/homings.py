"""Where a joint's homings found home, drawn: one after another, and over temperature."""

from collections.abc import Sequence
from itertools import pairwise
from math import fsum
from typing import Final

from coordinator.answers.joint_homings import JointHomings
from coordinator.health.home_drift import HomePlace
from coordinator.pictures.axes import BOTTOM, DOT, LEFT, RIGHT, TOP, WIDTH, Scale, level, upright
from coordinator.pictures.svg import ATTENTION, BAR, FAINT, Drawing

_ROUND: Final = 6
"""Homings that the axis has room for at least, so that its figures are whole numbers."""
_BELOW: Final = 90.0
"""From the first picture's bottom to the second one's top."""


def homings_picture(told: JointHomings) -> str:
    """An SVG's text. Raises ValueError where there is no homing."""
    if not told.homings:
        raise ValueError(f"no homing of {told.joint} is known")
    drawing = Drawing(WIDTH, f"{told.joint}: where {len(told.homings)} homings found home")
    drawing.text(LEFT, 24, drawing.title, bold=True)
    first, last = told.homings[0].homing, told.homings[-1].homing
    x = Scale(first, max(last, first + _ROUND), LEFT, RIGHT)
    y = _upwards(told.homings, TOP, BOTTOM)
    for before, one in pairwise(told.homings):
        here = x(one.homing)
        if one.reference == before.reference:
            drawing.line(
                x(before.homing), y(before.since_reference_deg),
                here, y(one.since_reference_deg), BAR,
            )  # fmt: skip
        else:
            drawing.line(here, TOP, here, BOTTOM, FAINT, dashed=True)
    for limit_deg in (-told.shift_limit_deg, told.shift_limit_deg):
        if y.low <= limit_deg <= y.high:
            drawing.line(LEFT, y(limit_deg), RIGHT, y(limit_deg), ATTENTION, dashed=True)
            drawing.text(RIGHT, y(limit_deg) - 4, "limit", ATTENTION, size=11, anchor="end")
    for one in told.homings:
        is_reference = one.reference == one.homing
        place = x(one.homing), y(one.since_reference_deg)
        drawing.shape(*place, DOT, filled=not is_reference, tip=_tip(one))
    upright(drawing, y, "home since its reference, deg")
    level(drawing, x, "homing; open: a reference, with which those after it are compared")
    warm = [
        one
        for one in told.homings
        if one.reference == told.homings[-1].reference and one.temperature_c is not None
    ]
    if len(warm) < 2:
        return drawing.finish(BOTTOM + 48)
    return _over_temperature(drawing, warm, told.drift_deg_per_c.value)


def _over_temperature(
    drawing: Drawing, places: Sequence[HomePlace], slope_deg_per_c: float | None
) -> str:
    """The newest reference's homings, with the line of the drift where that is known."""
    top = BOTTOM + _BELOW
    bottom = top + BOTTOM - TOP
    warm = [(one.temperature_c or 0.0, one) for one in places]
    x = Scale(min(at for at, _ in warm), max(at for at, _ in warm), LEFT, RIGHT)
    y = _upwards(places, top, bottom)
    if slope_deg_per_c is not None:
        middle_c = fsum(at for at, _ in warm) / len(warm)
        middle_deg = fsum(one.since_reference_deg for one in places) / len(places)
        low, high = (
            (x(at), y(middle_deg + slope_deg_per_c * (at - middle_c)))
            for at in (min(at for at, _ in warm), max(at for at, _ in warm))
        )
        drawing.line(*low, *high, dashed=True)
    for at, one in warm:
        drawing.shape(x(at), y(one.since_reference_deg), DOT, filled=True, tip=_tip(one))
    upright(drawing, y, f"home since homing {places[-1].reference}, deg")
    level(drawing, x, "at the driver, °C; dashed: the drift", bottom)
    return drawing.finish(bottom + 48)


def _upwards(places: Sequence[HomePlace], top: float, bottom: float) -> Scale:
    values = [one.since_reference_deg for one in places]
    return Scale(min(values), max(values), bottom, top)


def _tip(one: HomePlace) -> str:
    warm = "" if one.temperature_c is None else f", {one.temperature_c:.1f} °C"
    if one.reference == one.homing:
        return f"homing {one.homing}: a reference{warm}"
    return (
        f"homing {one.homing}: {one.since_reference_deg:+.4g}° since homing {one.reference}{warm}"
    )
