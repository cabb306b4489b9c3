"""One figure of an arm file set anew and nothing else touched: comments and spelling stay."""

from typing import Any

import tomlkit

from coordinator.config.arm import Arm, parse_arm


def with_joint_figure(arm: Arm, joint: str, key: str, value: float) -> str:
    """The arm file's text with that figure of a joint in place of its own, or added.

    `joint` is one of the arm's. Raises ArmFileError for a figure that it cannot have.
    """
    document: Any = tomlkit.parse(arm.text)
    rows = {one["name"]: one for one in document["joints"]}
    rows[joint][key] = value
    text = tomlkit.dumps(document)
    parse_arm(text, arm.path)
    return text
