"""What is really so in a simulated joint: the only place of the campaign that looks inside.

Everything is read at an instant up to which the joint has been brought, so nothing is changed.
"""

from bisect import bisect_right

from coordinator.core.link.link import JointLink
from coordinator.rehearsal.joint_node import Node
from coordinator.rehearsal.laptop import Laptop
from protocol.configuration import Configuration
from protocol.light import ConditionWord
from protocol.pathtime import Course
from protocol.segments import rounding_allowance
from protocol.states import JointState
from simulator.joint.body import Body
from simulator.joint.path import Path


def body_of(node: Node) -> Body:
    """All that the rules of a joint share."""
    return node.unit.joint._body


def path_of(node: Node) -> Path:
    """Where it is on its trajectory."""
    return node.unit.joint._body.path


def state_of(node: Node) -> JointState:
    """Its true state."""
    return node.unit.joint._body.state


def link_of(laptop: Laptop, joint_id: str) -> JointLink:
    """What a laptop believes of a joint."""
    return next(link for link in laptop.core.links if link.joint.id == joint_id)


def lamp_of(node: Node, true_us: float) -> ConditionWord:
    """The word that its light shows, as of a true time up to which it has been brought."""
    joint = node.unit.joint
    silent_us = node.unit.joint_us(true_us) - joint._driven_us
    return joint._lamp.word(joint._body.state, at_rest=joint._body.at_rest, silent_us=silent_us)


def limits_of(node: Node) -> Configuration | None:
    """What it was configured with."""
    return node.unit.joint._body.configuration


def plan_of(node: Node) -> int:
    """The plan number that it complies with."""
    return node.unit.joint._player.complied


def cause_of(node: Node) -> str:
    """Why its newest ramp began."""
    return node.unit.joint._player._cause


def room_of(node: Node) -> int:
    """How many more points its buffer holds."""
    buffer = node.unit.joint._body.path.buffer
    return buffer.capacity - len(buffer._points)


def path_us(node: Node, joint_us: float) -> float:
    """True path time at a joint time."""
    body = node.unit.joint._body
    if body.path.course is None or body.clock is None:
        return float(body.path.stand_us)
    return body.path.course.at(body.clock.arm(joint_us))[0]


def segment_allowance(path: Path, at_us: float) -> tuple[float, float]:
    """What rounding of points may add to velocity and acceleration at a path time."""
    times, points = path.buffer._times, path.buffer._points
    found = (1.0, 0.0)
    k = max(0, bisect_right(times, at_us - 2_000) - 1)
    while k < len(times) - 1 and times[k] <= at_us + 2_000:
        velocity, acceleration = rounding_allowance(points[k], points[k + 1])
        found = max(found[0], velocity), max(found[1], acceleration)
        k += 1
    return found


def points_needed_us(path: Path, permit_us: int) -> float:
    """Path time up to which a joint needs points to come to rest from its permit; 0 for any.

    Even a ramp ends at the last point; an override is looked at once it is in force.
    """
    course = path.course
    if path.pending is not None:
        course = Course.of(path.pending, path.ramp) if course is None else None
    if course is None or path.buffer.last is not None:
        return 0.0
    at_us = course.when(permit_us)
    rate = 0.0 if at_us is None else course.at(at_us)[1]
    return permit_us + path.ramp.fall_path(rate)


def axis_of(node: Node, joint_us: float) -> float:
    """Where the axis really is, in true counts, at a joint time."""
    return node.unit._true(node.unit.joint._body.position(joint_us)[0])
