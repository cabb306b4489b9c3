"""Round trips of each joint's link, drawn: which share of them took no longer than that."""

from collections.abc import Sequence
from math import log10
from typing import Final

from coordinator.health.link_survey.joint_survey import JointSurvey, LinkFigures
from coordinator.pictures.svg import BAR, FAINT, MUTED, Drawing, short

_WIDTH: Final = 640.0
_LEFT: Final = 132.0
_RIGHT: Final = 616.0
_TOP: Final = 44.0
_ROW: Final = 76.0
_HIGH: Final = 56.0
_LEAST_US: Final = 100
"""Left edge where nothing is shorter."""
_NAME: Final = 14
"""Characters of a name that fit."""


class _Times:
    """Round trips to places from left to right, each ten times as far as wide as the next."""

    def __init__(self, low_us: int, high_us: int) -> None:
        self.decades = range(int(log10(low_us)), int(log10(high_us)) + 2)
        self._scale = (_RIGHT - _LEFT) / (self.decades[-1] - self.decades[0])

    def __call__(self, time_us: float) -> float:
        return _LEFT + self._scale * (log10(max(time_us, 1.0)) - self.decades[0])


def survey_picture(results: Sequence[JointSurvey]) -> str:
    """An SVG's text: a row for each joint, filled from below as round trips are answered."""
    drawing = Drawing(_WIDTH, "Round trips by joint: share that took no longer")
    drawing.text(8, 24, drawing.title, bold=True)
    known = [one.figures for one in results if one.figures is not None]
    shortest_us = min((one.rtt_percentiles_us[0] for one in known), default=_LEAST_US)
    longest_us = max((one.rtt_max_us for one in known), default=10 * _LEAST_US)
    times = _Times(max(1, min(shortest_us, _LEAST_US)), longest_us)
    end = _TOP + _ROW * len(results)
    for decade in times.decades:
        at = times(10.0**decade)
        drawing.line(at, _TOP, at, end, FAINT)
        label = f"{10.0 ** (decade - 3):g}"
        drawing.text(at, end + 16, label, MUTED, size=11, anchor="middle")
    drawing.text((_LEFT + _RIGHT) / 2, end + 34, "round trip, ms", size=11, anchor="middle")
    for k, one in enumerate(results):
        base = _TOP + _ROW * k + _HIGH + 8
        drawing.text(8, base - 24, short(one.joint, _NAME))
        drawing.text(8, base - 8, one.verdict, MUTED, size=11)
        drawing.line(_LEFT, base, _RIGHT, base)
        if one.figures is None:
            drawing.text(_LEFT + 8, base - 8, "too few exchanges", MUTED, size=11)
        else:
            _row(drawing, times, one.figures, base)
    return drawing.finish(end + 48)


def _row(drawing: Drawing, times: _Times, figures: LinkFigures, base: float) -> None:
    told = figures.rtt_percentiles_us
    edge = [(times(time_us), base - _HIGH * k / 100) for k, time_us in enumerate(told)]
    drawing.area([*edge, (_RIGHT, base - _HIGH), (_RIGHT, base)], BAR)
    words = f"half {told[50] / 1e3:.1f} ms, 99 % {told[99] / 1e3:.1f} ms"
    drawing.text(_RIGHT - 4, base - _HIGH + 14, words, size=11, anchor="end")
