"""What ends the common motion, whatever phase it is in."""

from typing import Final

from coordinator.core.link.link import JointLink
from coordinator.core.link.words import trouble
from protocol.states import JointState

S = JointState
OFF_PATH: Final = frozenset({S.UNHOMED, S.HOMING, S.JOGGING, S.STOPPING})


def conflict(links: list[JointLink]) -> str | None:
    """A sentence where nobody knows which of two joints is the arm's."""
    for link in links:
        if link.connection.conflict:
            return f"{link.name}: {link.connection.conflict}"
    return None


def astray(links: list[JointLink], booted: set[str]) -> str | None:
    """A sentence where a joint has a fault or left the path, so that the whole arm must stop."""
    for link in links:
        status = link.status
        if status is None or link.name in booted:
            continue
        if status.faults:
            return trouble(link)
        if status.state in OFF_PATH or status.stop:
            return f"{link.name} is {status.state.word} and left the path"
    return None
