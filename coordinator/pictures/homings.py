"""Where a joint's homings found home, drawn: over time, and over temperature."""

from collections.abc import Sequence
from datetime import UTC, datetime
from itertools import pairwise
from math import fsum
from textwrap import wrap
from typing import Final

from coordinator.answers.joint_homings import JointHomings
from coordinator.health.home_drift import HomePlace
from coordinator.pictures.axes import (
    BOTTOM,
    DOT,
    LEFT,
    RIGHT,
    TOP,
    WIDTH,
    Scale,
    level,
    level_time,
    upright,
)
from coordinator.pictures.svg import ATTENTION, BAR, FAINT, MUTED, Drawing

_ROUND: Final = 6
"""Homings that the axis has room for at least, so that its figures are whole numbers."""
_BELOW: Final = 90.0
"""From the first picture's bottom to the second one's top."""
_LINE: Final = 16.0
_LINE_CHARACTERS: Final = 105


def homings_picture(told: JointHomings, figures: Sequence[str] = ()) -> str:
    """An SVG's text, with sentences of figures below. Raises ValueError where there is no homing.

    Over time where it is known when each homing ended, else one after another.
    """
    if not told.homings:
        raise ValueError(f"no homing of {told.joint} is known")
    drawing = Drawing(WIDTH, f"{told.joint}: where {len(told.homings)} homings found home")
    drawing.text(LEFT, 24, drawing.title, bold=True)
    instants = [_unix_s(one) for one in told.homings]
    times = [at for at in instants if at is not None]
    by_time = len(times) == len(instants)
    places = times if by_time else [float(one.homing) for one in told.homings]
    least = 60.0 if by_time else float(_ROUND)
    x = Scale(min(places), max(max(places), min(places) + least), LEFT, RIGHT)
    y = _upwards([one.since_reference_deg for one in told.homings], TOP, BOTTOM)
    for (before, was), (one, at) in pairwise(zip(told.homings, places, strict=True)):
        if one.reference == before.reference:
            drawing.line(
                x(was), y(before.since_reference_deg), x(at), y(one.since_reference_deg), BAR
            )
        else:
            drawing.line(x(at), TOP, x(at), BOTTOM, FAINT, dashed=True)
    for limit_deg in (-told.shift_limit_deg, told.shift_limit_deg):
        if y.low <= limit_deg <= y.high:
            drawing.line(LEFT, y(limit_deg), RIGHT, y(limit_deg), ATTENTION, dashed=True)
            drawing.text(RIGHT, y(limit_deg) - 4, "limit", ATTENTION, size=11, anchor="end")
    for one, at in zip(told.homings, places, strict=True):
        is_reference = one.reference == one.homing
        drawing.shape(
            x(at), y(one.since_reference_deg), DOT, filled=not is_reference, tip=_tip(one)
        )
    upright(drawing, y, "home since its reference, deg")
    words = "open: a reference, with which those after it are compared"
    if by_time:
        level_time(drawing, x, f"when the homing ended, UTC; {words}")
    else:
        level(drawing, x, f"homing; {words}")
    warm = [one for one in told.homings if one.level_deg is not None]
    bottom = BOTTOM + 48
    if len(warm) > 1:
        bottom = _over_temperature(drawing, warm, told.drift_deg_per_c.value)
    return drawing.finish(_written(drawing, figures, bottom))


def _over_temperature(
    drawing: Drawing, places: Sequence[HomePlace], slope_deg_per_c: float | None
) -> float:
    """Each from its reference's level, with the line of the drift where that is known; where the
    drawing ends then.
    """
    top = BOTTOM + _BELOW
    bottom = top + BOTTOM - TOP
    warm = [(one.temperature_c or 0.0, one.level_deg or 0.0) for one in places]
    x = Scale(min(at for at, _ in warm), max(at for at, _ in warm), LEFT, RIGHT)
    y = _upwards([deg for _, deg in warm], top, bottom)
    if slope_deg_per_c is not None:
        middle_c = fsum(at for at, _ in warm) / len(warm)
        low, high = (
            (x(at), y(slope_deg_per_c * (at - middle_c)))
            for at in (min(at for at, _ in warm), max(at for at, _ in warm))
        )
        drawing.line(*low, *high, dashed=True)
    newest = places[-1].reference
    for (at, deg), one in zip(warm, places, strict=True):
        drawing.shape(x(at), y(deg), DOT, filled=one.reference == newest, tip=_tip(one))
    upright(drawing, y, "home from the level of its reference's homings, deg")
    level(
        drawing,
        x,
        f"at the driver, °C; dashed: the drift; filled: compared with homing {newest}",
        bottom,
    )
    return bottom + 48


def _written(drawing: Drawing, sentences: Sequence[str], top: float) -> float:
    """Sentences below what is drawn; where the drawing ends then."""
    y = top + (_LINE if sentences else 0.0)
    for sentence in sentences:
        for line in wrap(sentence, _LINE_CHARACTERS):
            drawing.text(8, y, line, MUTED, size=11)
            y += _LINE
    return y


def _unix_s(one: HomePlace) -> float | None:
    """When it ended; None where that is not known."""
    try:
        at = datetime.fromisoformat(one.utc) if one.utc is not None else None
    except ValueError:
        return None
    if at is None:
        return None
    return (at if at.tzinfo else at.replace(tzinfo=UTC)).timestamp()


def _upwards(values: Sequence[float], top: float, bottom: float) -> Scale:
    return Scale(min(values), max(values), bottom, top)


def _tip(one: HomePlace) -> str:
    warm = "" if one.temperature_c is None else f", {one.temperature_c:.1f} °C"
    if one.reference == one.homing:
        return f"homing {one.homing}: a reference{warm}"
    return (
        f"homing {one.homing}: {one.since_reference_deg:+.4g}° since homing {one.reference}{warm}"
    )
