"""Words of RS-274/NGC that programs here do not have, by what they are in the standard.

Sections are those of NISTIR 6556, from memory but for 3.5.14.
"""

from typing import Final

_ARC: Final = "3.5.3"
_CYCLE: Final = "3.5.16"
_LENGTH: Final = "3.5.11"
_RADIUS: Final = "3.5.10"

MEANINGS: Final[dict[str, tuple[str, str]]] = {
    "G2": ("an arc, clockwise", _ARC),
    "G3": ("an arc, counterclockwise", _ARC),
    "G10": ("a coordinate system's origin", "3.5.5"),
    "G17": ("the choice of the XY plane", "3.5.6"),
    "G18": ("the choice of the XZ plane", "3.5.6"),
    "G19": ("the choice of the YZ plane", "3.5.6"),
    "G20": ("inches, which angles do not have", "3.5.7"),
    "G21": ("millimetres, which angles do not have", "3.5.7"),
    "G28": ("the return to a home position", "3.5.8"),
    "G30": ("the return to a second home position", "3.5.8"),
    "G38.2": ("a straight probe", "3.5.9"),
    "G40": ("the end of cutter radius compensation", _RADIUS),
    "G41": ("cutter radius compensation, left", _RADIUS),
    "G42": ("cutter radius compensation, right", _RADIUS),
    "G43": ("a tool length offset", _LENGTH),
    "G49": ("the end of tool length offsets", _LENGTH),
    "G53": ("a move in machine coordinates", "3.5.12"),
    **{
        f"G{code}": ("the choice of a coordinate system", "3.5.13")
        for code in ("54", "55", "56", "57", "58", "59", "59.1", "59.2", "59.3")
    },
    "G81": ("a drilling cycle", _CYCLE),
    "G82": ("a drilling cycle with a dwell", _CYCLE),
    "G83": ("a peck drilling cycle", _CYCLE),
    "G84": ("a tapping cycle", _CYCLE),
    **{f"G{code}": ("a boring cycle", _CYCLE) for code in (85, 86, 88, 89)},
    "G87": ("a back boring cycle", _CYCLE),
    "G92": ("an offset of the coordinate systems", "3.5.18"),
    "G92.1": ("the end of coordinate offsets, and of what is kept of them", "3.5.18"),
    "G92.2": ("the end of coordinate offsets", "3.5.18"),
    "G92.3": ("coordinate offsets as they were kept", "3.5.18"),
    "G98": ("how far a cycle returns, to where it began", "3.5.20"),
    "G99": ("how far a cycle returns, to its R", "3.5.20"),
    "M4": ("a spindle turning counterclockwise", "3.6.2"),
    "M6": ("a tool change", "3.6.3"),
    "M7": ("mist coolant", "3.6.4"),
    "M48": ("the switching on of overrides", "3.6.5"),
    "M49": ("the switching off of overrides", "3.6.5"),
    **dict.fromkeys("ABC", ("the target of a rotary axis", "3.5.1")),
    **dict.fromkeys("XYZ", ("the target of a linear axis", "3.5.1")),
    "D": ("a tool radius number", _RADIUS),
    "H": ("a tool length number", _LENGTH),
    "I": ("an arc's centre along X", _ARC),
    "J": ("an arc's centre along Y", _ARC),
    "K": ("an arc's centre along Z", _ARC),
    "L": ("a cycle's repetitions", _CYCLE),
    "Q": ("a peck's depth", _CYCLE),
    "R": ("an arc's radius, or a cycle's plane", _ARC),
    "S": ("a spindle speed", "3.7.2"),
    "T": ("a tool", "3.7.3"),
}
"""What a word is, by its code (`G2`) or, where that does not count, its letter; and the section."""

FUNCTIONS: Final = (
    "abs", "acos", "asin", "atan", "cos", "exp", "fix", "fup", "ln", "round", "sin", "sqrt", "tan"
)  # fmt: skip
"""Unary operations (NISTIR 6556 §3.3.2.4)."""


def refusal(text: str, code: str) -> str:
    """A sentence for a word, written so, that programs here do not have."""
    if code not in MEANINGS:
        return f"{text} is no word of RS-274/NGC"
    what, section = MEANINGS[code]
    return f"{text} is {what} (NISTIR 6556 §{section}), and not taken here"
