"""What homings found: the core's own snapshot, with an example of the whole."""

from typing import Final

from coordinator.api.responses.base import ResponseModel, as_answer, eg, plain
from coordinator.core.homing import FoundEdge, HomingSnapshot, HomingState, JointHoming

_EDGE: Final = FoundEdge(position=118_400, rising=True, fast=False, from_middle_deg=-1.25)
HOMING: Final = HomingSnapshot(
    number=1,
    state=HomingState.DONE,
    message="",
    current=None,
    asked=("elbow",),
    joints={
        "elbow": JointHoming(
            (_EDGE,),
            middle=120_480,
            home_offset_deg=0.031,
            shift_deg=-0.031,
            temperature_c=31.5,
            controller="0a1b2c3d4e5f",
            figures="7111.11 counts/°, home at 0°, searched upwards at 20 °/s and 2 °/s",
            wandered_deg=None,
            reference=1,
            since_reference_deg=0.0,
        )
    },
    held=False,
)

as_answer(HomingSnapshot)


class NewestOfJoint(ResponseModel):
    """What the newest homing of a joint that found something has found; `null` if none is known."""

    homing: int | None = eg(1)
    """That homing's number."""
    edges: list[FoundEdge] = eg([plain(_EDGE)])
    middle: int | None = eg(120_480)
    """As in a homing, as the next."""
    home_offset_deg: float | None = eg(0.031)
    shift_deg: float | None = eg(-0.031)
    temperature_c: float | None = eg(31.5)
    controller: str | None = eg("0a1b2c3d4e5f")
    figures: str | None = eg("7111.11 counts/°, home at 0°, searched upwards at 20 °/s and 2 °/s")
    wandered_deg: float | None = eg(0.09)
    reference: int | None = eg(1)
    since_reference_deg: float | None = eg(0.09)
