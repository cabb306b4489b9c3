"""Figures of an arm file set anew and nothing else touched: comments and spelling stay."""

from collections.abc import Mapping
from typing import Any, Final

import tomlkit

from coordinator.config.arm import Arm, parse_arm

UPPER_BOUND: Final = "an upper bound, by the home edges: the sensor's hysteresis is in it"
"""What stands behind a figure in the file as long as it is no more than that."""


def with_joint_figures(
    arm: Arm, joint: str, figures: Mapping[str, float], *, is_bound: bool = False
) -> str:
    """The arm file's text with these figures of a joint, by key, in place of its own, or added.

    A figure that is only a bound is marked so, in a comment behind it; the mark goes with the next
    figure that is none. `joint` is one of the arm's. Raises ArmFileError for a figure that it
    cannot have.
    """
    document: Any = tomlkit.parse(arm.text)
    rows = {one["name"]: one for one in document["joints"]}
    for key, value in figures.items():
        rows[joint][key] = value
        _mark(rows[joint][key], is_bound=is_bound)
    text = tomlkit.dumps(document)
    parse_arm(text, arm.path)
    return text


def _mark(item: Any, *, is_bound: bool) -> None:
    """Set or take off the mark; what its owner wrote there stays."""
    before = item.trivia.comment.removeprefix("#").strip()
    own = before.replace(UPPER_BOUND, "").strip(" ;")
    words = "; ".join(one for one in (own, UPPER_BOUND if is_bound else "") if one)
    if not words and before:
        item.trivia.comment = item.trivia.comment_ws = ""
    elif words != before:
        item.comment(words)
