"""Why something cannot be commanded now, for who would press its button."""

from collections.abc import Callable
from dataclasses import dataclass

from coordinator.codes.refusal import RefusalCode
from coordinator.core.events import Refused


@dataclass(frozen=True, slots=True)
class Obstacle:
    """Why something cannot be commanded now."""

    code: RefusalCode
    """As in a problem's `type`."""
    message: str


def obstacle(require: Callable[[], None]) -> Obstacle | None:
    """What `require` refuses, None where it refuses nothing."""
    try:
        require()
    except Refused as refused:
        return Obstacle(refused.code, refused.message)
    return None
