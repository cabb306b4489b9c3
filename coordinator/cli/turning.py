"""`unisono accuracy turn`: which gear a joint has that turns without end, by whole turns from its
home edge to the same edge again.

A joint is homed, turned until its sensor comes again, and homed there: by how much that homing
moved its scale is what it believed a turn to be. With a wrong gear its edge comes where none should
be, so the joint takes steps for lost and stops; the homing after that tells the turn all the same.
"""

from dataclasses import dataclass
from math import sqrt
from typing import Final

from coordinator.accuracy.gear import Gear, by_turns
from coordinator.cli.common import (
    ExitCode,
    Failure,
    caution,
    err,
    out,
    require_yes,
)
from coordinator.cli.figure import or_no_figure, show_figure
from coordinator.cli.gear import gear_json, remarks_on, take_gear, verdict
from coordinator.cli.guided import (
    AskedTest,
    home_again,
    noticed_late_deg,
    require_homed,
    testing,
    turn_to_end,
)
from coordinator.cli.remote import giving_back
from coordinator.client import Client
from coordinator.config.joint import Joint
from coordinator.pictures.gear import turns_picture

TURN_DEG: Final = 360.0
MOST_TURNS: Final = 3
"""Believed turns within which the sensor must come again: a gear three times as high as it is told
to be is noticed before, as the joint crawls."""
SAME_EDGE_DEG: Final = 30.0
"""A scale that was moved by less: the joint came back to the edge from which it went."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked(AskedTest):
    """What was asked for."""

    turns: int


def show(asked: Asked, *, as_json: bool) -> ExitCode:
    """Turn it, tell its gear, and take that into an arm file where it is asked. Raises Failure."""
    with testing(asked) as (client, joint, arm):
        _require_turns(joint)
        believed = _turned(client, joint, asked, as_json=as_json)
    with or_no_figure(f"{joint.name}: no gear is told"):
        found = by_turns(believed, _least_deg(joint))
    remarks = [*remarks_on(found, joint, by_scale=False), _NO_DIRECTION]
    return show_figure(
        gear_json(found, joint, remarks) | {"believed_deg": believed},
        remarks,
        lambda: _tell(joint, found),
        picture=asked.picture,
        draw=lambda: turns_picture(joint.name, found, believed),
        take=lambda: (
            {} if arm is None else take_gear(arm, joint, found, given=asked.yes, as_json=as_json)
        ),
        as_json=as_json,
    )


_NO_DIRECTION: Final = (
    "which way it turned no home edge tells: look at it, or type what you read (unisono accuracy "
    "ratio)"
)


def _least_deg(joint: Joint) -> float:
    """Standard uncertainty of a turn between two homings, each of whose edges may be seen as late
    as the wire document permits, or one count off (rectangular: GUM, 4.3.7, from memory).
    """
    late_deg = noticed_late_deg(joint.homing.slow_deg_s)
    return max(late_deg, abs(joint.to_degrees(1))) * sqrt(2.0 / 3.0)


def _tell(joint: Joint, found: Gear) -> None:
    out().print(
        f"{joint.name}: believed to turn by {TURN_DEG / found.share:.4f}° in a whole turn, of "
        f"{found.count} turns to and fro (s {found.deviation:.2g}° of a homing)"
    )
    for line in verdict(found, joint):
        out().print(line)


def _require_turns(joint: Joint) -> None:
    if joint.range_deg is not None:
        low, high = joint.range_deg
        raise Failure(
            ExitCode.WRONG_INPUT,
            f"{joint.name} has a range of {low:g} to {high:g}°, and only a joint that turns "
            "without end may come to its home edge a turn further: read a protractor instead "
            "(unisono accuracy ratio)",
        )


def _turned(client: Client, joint: Joint, asked: Asked, *, as_json: bool) -> list[float]:
    """By how much it believed to turn in each turn, to and fro so that no cable is wound up."""
    require_homed(client, joint.name)
    require_yes(
        f"Turn {joint.name} by a whole turn and back, {asked.turns} turns in all, at "
        f"{_speed_deg_s(joint):g}°/s? With a wrong gear ratio it turns further than it is told, up "
        f"to {MOST_TURNS} turns by its own count; free its whole way, and mind its cables.",
        "turning a joint by whole turns", "nothing was turned",
        given=asked.yes, as_json=as_json,
    )  # fmt: skip
    caution(as_json=as_json)
    with giving_back(client):
        home_again(client, joint.name, as_json=as_json)
        believed = []
        for k in range(asked.turns):
            way = 1.0 if k % 2 == 0 else -1.0
            believed.append(_one_turn(client, joint, way, as_json=as_json))
            err().print(f"turn {k + 1} of {asked.turns}: believed {believed[-1]:.4f}°")
    return believed


def _one_turn(client: Client, joint: Joint, way: float, *, as_json: bool) -> float:
    """Turn it until its sensor comes again, and home it there. Raises Failure."""
    since_deg = 0.0
    for turns in range(1, MOST_TURNS + 1):
        for _ in range(turns):
            speed_deg_s = _speed_deg_s(joint)
            if not turn_to_end(client, joint.name, way * TURN_DEG, speed_deg_s, as_json=as_json):
                break  # its edge came where none should be
        moved_deg = home_again(client, joint.name, as_json=as_json).home_offset_deg
        since_deg += moved_deg
        if abs(moved_deg) > SAME_EDGE_DEG:
            return abs(since_deg)
    raise Failure(
        ExitCode.NOT_FINISHED,
        f"{joint.name} did not come to its home edge again within {MOST_TURNS} turns by its own "
        "count: does its motor turn the joint at all, and does the sensor see its magnet?",
    )


def _speed_deg_s(joint: Joint) -> float:
    return min(joint.homing.fast_deg_s, joint.velocity_deg_s)
