"""What homings found."""

from coordinator.api.answers.base import Answer, eg, example_of
from coordinator.core.homing import HomingState


class Edge(Answer):
    """One passage of the home sensor's edge. Positions are counts in the frame before homing."""

    position: int = eg(118_400)
    rising: bool = eg(True)
    fast: bool = eg(False)
    """Whether it was met at the fast speed; the slow passages are what counts."""
    from_middle_deg: float = eg(-1.25)


class JointHoming(Answer):
    """What was found of one joint."""

    edges: list[Edge] = eg([example_of(Edge)])
    middle: int = eg(120_480)
    """Counts, in the frame before homing: the middle between the edges, which is home."""
    shift_deg: float = eg(0.031)
    """What was added to every angle to make it so."""


class NewestOfJoint(Answer):
    """What the newest homing of a joint that found something has found; `null` if none is known."""

    homing: int | None = eg(1)
    """That homing's number."""
    edges: list[Edge] = eg([example_of(Edge)])
    middle: int | None = eg(120_480)
    """As in a homing, as the next."""
    shift_deg: float | None = eg(0.031)


class Homing(Answer):
    """How a homing goes or went."""

    number: int = eg(1)
    state: HomingState = eg("done")
    message: str = eg("")
    """Why it failed; empty if it did not."""
    current: str | None = eg(None)
    """The joint that searches now."""
    asked: list[str] = eg(["elbow"])
    """The joints that it is for, base to tool."""
    joints: dict[str, JointHoming] = eg({"elbow": example_of(JointHoming)})
    """What was found so far, by joint."""
