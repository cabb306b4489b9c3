"""Which firmware runs in the joints, in words."""

from typing import TYPE_CHECKING

from coordinator.codes.link_word import LinkWord

if TYPE_CHECKING:
    from coordinator.client.values import ArmSnapshot, JointSnapshot


def firmware_lines(arm: "ArmSnapshot") -> list[str]:
    """A line for each firmware that runs, with its board and the joints that have it."""
    found: dict[str, list[str]] = {}
    for joint in arm.joints:
        found.setdefault(_firmware(joint), []).append(joint.name)
    return [f"firmware {words}: {' '.join(names)}" for words, names in found.items()]


def _firmware(joint: "JointSnapshot") -> str:
    # Without a stream another one may run by now, as after an update whose end was not seen.
    if joint.firmware is None or joint.link is not LinkWord.UP:
        return "not known now"
    board = f" on board {joint.board}" if joint.board else ", board not told"
    return f"{joint.firmware}{board}{', on trial' if joint.on_trial else ''}"
