"""Drawing in SVG, as little as a plot needs. Lengths are CSS pixels."""

import math
from collections.abc import Iterable
from typing import Final
from xml.sax.saxutils import escape

FONT: Final = "system-ui, sans-serif"
INK: Final = "#333333"
"""On white 12.6:1; WCAG 2.2 asks for 4.5:1 of text."""
MUTED: Final = "#666666"
"""On white 5.7:1."""
BAR: Final = "#9a9a9a"
FAINT: Final = "#dddddd"
ATTENTION: Final = "#9a6700"
"""Yellow, as dark as text on white must be."""
DANGER: Final = "#b3261e"


class Drawing:
    """Elements on white, from the top left corner."""

    def __init__(self, width: float, title: str) -> None:
        self.width = width
        self.title = title
        self._elements: list[str] = []

    def rectangle(
        self, x: float, y: float, width: float, height: float, colour: str = BAR, tip: str = ""
    ) -> None:
        """A filled rectangle; `tip` is shown when pointed at."""
        inside = f"<title>{_text(tip)}</title>" if tip else ""
        self._elements.append(
            f'<rect x="{x:.1f}" y="{y:.1f}" width="{max(width, 0.0):.1f}" '
            f'height="{max(height, 0.0):.1f}" fill="{colour}">{inside}</rect>'
        )

    def line(
        self,
        x1: float,
        y1: float,
        x2: float,
        y2: float,
        colour: str = MUTED,
        *,
        dashed: bool = False,
    ) -> None:
        """A straight line."""
        dashes = ' stroke-dasharray="4 3"' if dashed else ""
        self._elements.append(
            f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" '
            f'stroke="{colour}"{dashes}/>'
        )

    def area(self, points: Iterable[tuple[float, float]], colour: str = INK) -> None:
        """What these corners enclose, with a thin edge: where it has no height it is a line."""
        told = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
        self._elements.append(
            f'<polygon points="{told}" fill="{colour}" stroke="{colour}" stroke-width="0.9" '
            'stroke-linejoin="bevel"/>'
        )

    def shape(self, x: float, y: float, path: str, *, filled: bool, tip: str = "") -> None:
        """A small shape around a place, by an SVG path relative to it; open, or filled."""
        inside = f"<title>{_text(tip)}</title>" if tip else ""
        self._elements.append(
            f'<path transform="translate({x:.1f} {y:.1f})" d="{path}" stroke="{INK}" '
            f'fill="{INK if filled else "#ffffff"}">{inside}</path>'
        )

    def text(
        self,
        x: float,
        y: float,
        words: str,
        colour: str = INK,
        *,
        size: float = 13,
        anchor: str = "start",
        bold: bool = False,
    ) -> None:
        """One line of text; `anchor` says which of its ends, or its middle, is at `x`."""
        weight = ' font-weight="600"' if bold else ""
        self._elements.append(
            f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size:g}" text-anchor="{anchor}"'
            f'{weight} fill="{colour}">{_text(words)}</text>'
        )

    def finish(self, height: float) -> str:
        """The whole file's text."""
        size = f"{self.width:g} {height:g}"
        root = (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{self.width:g}" height="{height:g}" '
            f'viewBox="0 0 {size}" role="img" font-family="{FONT}">'
        )
        ground = f'<rect width="{self.width:g}" height="{height:g}" fill="#ffffff"/>'
        title = f"<title>{_text(self.title)}</title>"
        return "\n".join([root, title, ground, *self._elements, "</svg>", ""])


LEAST_SPAN: Final = 1e-9
"""Below it there is nothing to tell apart, and logarithms of what is smaller still do not exist."""


def step_for(span: float, count: int = 6) -> float:
    """A round distance between ticks, 1, 2 or 5 times a power of ten, for at most `count` steps."""
    if span < LEAST_SPAN:
        return 1.0
    rough = span / count
    power = 10.0 ** math.floor(math.log10(rough))
    # A step that is a rounding error too small would give a tick too many.
    return next(step for one in (1, 2, 5, 10) if (step := one * power) >= rough * (1.0 - 1e-9))


def short(words: str, longest: int) -> str:
    """Words of so many characters at most: a drawing wraps nothing."""
    return words if len(words) <= longest else words[: longest - 1] + "…"


def _text(words: str) -> str:
    """Fit for XML, which knows no control characters."""
    return escape("".join(one if one.isprintable() else " " for one in words), {'"': "&quot;"})
