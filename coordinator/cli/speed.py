"""`unisono accuracy speed`: the highest speed at which a joint loses no step, from below."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from math import inf, sqrt
from typing import Any, Final

from coordinator.accuracy.speed_search import (
    MARGIN,
    SpeedFound,
    Tried,
    speed_found,
    speeds,
    way_deg,
)
from coordinator.cli.common import (
    ExitCode,
    Failure,
    caution,
    err,
    named_joint,
    out,
    require_yes,
)
from coordinator.cli.figure import or_no_figure, show_figure, take_into
from coordinator.cli.guided import (
    AskedTest,
    home_again,
    on_home_sensor,
    require_homed,
    testing,
    turn_to_end,
)
from coordinator.cli.remote import giving_back
from coordinator.client import Client
from coordinator.config.arm import Arm, Joint
from coordinator.pictures.speed_search import speed_picture

ROOM_DEG: Final = 300.0
"""Of a joint that turns without end: so that it does not come to its sensor from behind."""
EDGE_ASTRAY: Final = "its home edge came where none should be"
OFF_SENSOR: Final = "it came back, and not onto its home sensor"
HOLDS: Final = (
    "it holds for the load, the pose of the other joints, the supply and the warmth of this "
    "search, and for the acceleration of the arm file; where these are worse, steps are lost at "
    "lower speeds"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked(AskedTest):
    """What was asked for."""

    first_deg_s: float | None
    most_deg_s: float | None
    repeats: int


def show(asked: Asked, *, as_json: bool) -> ExitCode:
    """Search, tell, and take a limit into an arm file where that is asked. Raises Failure."""
    with testing(asked) as (client, joint, arm):
        _require_moved_by_it(arm, joint)
        wanted, remarks = _wanted(joint, asked)
        require_homed(client, joint.name)
        _require_finds_home(client, joint)
        _ask(joint, wanted, asked, as_json=as_json)
        with giving_back(client):
            tried = _search(client, joint, wanted, asked.repeats, as_json=as_json)
    with or_no_figure(joint.name):
        found = speed_found(tried)
    remarks = [*remarks, HOLDS]
    return show_figure(
        _as_json(joint, found, remarks),
        remarks,
        lambda: _tell(joint, found),
        picture=asked.picture,
        draw=lambda: speed_picture(joint.name, found),
        take=lambda: _take(arm, joint, found.limit, given=asked.yes, as_json=as_json),
        as_json=as_json,
    )


def _take(
    arm: Arm | None, joint: Joint, limit: float | None, *, given: bool, as_json: bool
) -> Mapping[str, Any]:
    if arm is None:
        return {}
    if limit is None:
        return {"written": False}
    _require_homes_slower(joint, limit)
    return take_into(arm, joint, {"velocity_deg_s": limit}, given=given, as_json=as_json)


def _require_homes_slower(joint: Joint, limit: float) -> None:
    """Raise Failure where the joint would home faster than it may turn then."""
    if limit < joint.homing.fast_deg_s:
        raise Failure(
            ExitCode.WRONG_INPUT,
            f"a limit of {limit:g}°/s is below the {joint.homing.fast_deg_s:g}°/s by which "
            f"{joint.name} homes: nothing is written. Make homing.fast_deg_s smaller in the arm "
            "file first, and home it by that",
        )


def _require_moved_by_it(arm: Arm | None, joint: Joint) -> None:
    """Raise Failure where the file that is to have the limit would have the joint moved otherwise
    than it is in the search: which steps are lost depends on that.
    """
    if arm is None:
        return
    told = named_joint(arm, joint.name)
    keys = "acceleration_deg_s2", "jerk_deg_s3", "velocity_deg_s", "range_deg"
    if others := [key for key in keys if getattr(told, key) != getattr(joint, key)]:
        raise Failure(
            ExitCode.WRONG_INPUT,
            f"{joint.name} has another {' and '.join(others)} in {arm.path} than the coordinator, "
            "which moves it: what is found by one says nothing of the other. Start the "
            "coordinator with that file first",
        )


def _wanted(joint: Joint, asked: Asked) -> tuple[list[float], list[str]]:
    """Speeds to be tried, and why not all. Raises Failure."""
    first = joint.homing.fast_deg_s if asked.first_deg_s is None else asked.first_deg_s
    most = joint.velocity_deg_s if asked.most_deg_s is None else asked.most_deg_s
    if most > joint.velocity_deg_s:
        raise Failure(
            ExitCode.WRONG_INPUT,
            f"--to is {most:g}, and the arm file lets {joint.name} turn by "
            f"{joint.velocity_deg_s:g}°/s at most: raise velocity_deg_s there to search further",
        )
    try:
        all_of_them = speeds(first, most)
    except ValueError as error:
        raise Failure(ExitCode.WRONG_INPUT, f"{joint.name}: {error}") from error
    room_deg = abs(_room_deg(joint))
    wanted = [one for one in all_of_them if way_deg(one, joint.acceleration_deg_s2) <= room_deg]
    if not wanted:
        raise Failure(
            ExitCode.WRONG_INPUT,
            f"from its home {joint.name} has {room_deg:g}° of its range to one side, which is too "
            f"little to reach {first:g}°/s",
        )
    if len(wanted) == len(all_of_them):
        return wanted, []
    no_room = (
        f"the {room_deg:g}° of its range on one side of its home have no room for more than "
        f"{wanted[-1]:.4g}°/s: what is above was not tried"
    )
    return wanted, [no_room]


def _room_deg(joint: Joint) -> float:
    """How far it can go from its home to the side where it has more room."""
    low, high = joint.range_deg or (-inf, inf)
    up, down = min(ROOM_DEG, high - joint.home_deg), max(-ROOM_DEG, low - joint.home_deg)
    return up if up >= -down else down


def _require_finds_home(client: Client, joint: Joint) -> None:
    """Raise Failure where a joint that lost its way back unseen would be homed further away, into
    whatever ends its range: it searches as it goes out, and does not tell whether it came back.
    """
    searches_outwards = joint.homing.direction * _room_deg(joint) > 0.0
    is_blind = on_home_sensor(client, joint.name) is None
    if joint.range_deg is not None and searches_outwards and is_blind:
        raise Failure(
            ExitCode.WRONG_INPUT,
            f"{joint.name} does not tell whether it stands on its home sensor, and looks for it "
            "in the direction in which this test would turn it. If it lost its way back, homing "
            "would turn it out of its range: its highest speed is not searched",
        )


def _ask(joint: Joint, wanted: list[float], asked: Asked, *, as_json: bool) -> None:
    way = abs(way_deg(wanted[-1], joint.acceleration_deg_s2))
    require_yes(
        f"Turn {joint.name} from its home to and fro by up to {way:.0f}°, faster and faster, from "
        f"{wanted[0]:.4g} to {wanted[-1]:.4g}°/s, until steps are lost? A joint that loses steps "
        "may drop what it holds, and stands elsewhere than it believes: take its load off or "
        "support it, and nobody in its reach.",
        "a search that goes on until steps are lost", "nothing was moved",
        given=asked.yes, as_json=as_json,
    )  # fmt: skip
    caution(as_json=as_json)


def _search(
    client: Client, joint: Joint, wanted: list[float], repeats: int, *, as_json: bool
) -> tuple[Tried, ...]:
    """Try speeds until steps are lost. Raises Failure."""
    home_again(client, joint.name, as_json=as_json)
    tried: list[Tried] = []
    for speed in wanted:
        ways, lost = 0, ""
        while not lost and ways < 2 * repeats:
            lost = _lost(client, joint, speed, out_fast=ways % 2 == 0, as_json=as_json)
            ways += 1
        tried.append(Tried(speed, ways, lost))
        err().print(f"{speed:.4g}°/s, {ways} ways: {lost or 'no step lost'}")
        if lost:
            break
    return tuple(tried)


def _lost(client: Client, joint: Joint, speed: float, *, out_fast: bool, as_json: bool) -> str:
    """One way at a speed, out or back, and how it is seen that steps were lost on it; empty where
    none were. The other way is gone as slowly as it homes. Raises Failure.
    """
    far = way_deg(speed, joint.acceleration_deg_s2)
    far = far if _room_deg(joint) > 0.0 else -far
    slow = min(joint.homing.fast_deg_s, speed)
    ways = [(far, speed)] if out_fast else [(far, slow), (-far, speed)]
    for by_deg, speed_deg_s in ways:
        if not turn_to_end(client, joint.name, by_deg, speed_deg_s, as_json=as_json):
            return EDGE_ASTRAY
    # To home one that lost its way back may turn it further out, beyond its range.
    if not out_fast and on_home_sensor(client, joint.name) is False:
        return OFF_SENSOR
    found = home_again(client, joint.name, as_json=as_json, may_wander=True)
    if found.shift_deg is None:
        raise Failure(
            ExitCode.NOT_FINISHED,
            f"{joint.name} was not homed any more as it came back: whether steps were lost is not "
            "known",
        )
    # A stepper that slips does so by four full steps at least: half of that is sure.
    sure_deg = 2.0 * 360.0 / (joint.full_steps * joint.gear_ratio)
    if abs(found.shift_deg) <= min(sure_deg, joint.home_shift_limit_deg):
        return ""
    return f"home was found {found.shift_deg:+.3g}° from where it was"


def _tell(joint: Joint, found: SpeedFound) -> None:
    if found.lost_at is None or found.limit is None:
        out().print(
            f"{joint.name}: no step lost up to {found.highest:.4g}°/s, in {found.ways} ways: where "
            "steps begin to be lost is not known, and no other limit comes of it"
        )
        return
    out().print(
        f"{joint.name}: no step lost up to {found.highest:.4g}°/s, in {found.ways} ways; at "
        f"{found.lost_at:.4g}°/s {found.tried[-1].lost}"
    )
    out().print(
        f"the highest usable speed lies between the two: standard uncertainty "
        f"{_uncertainty(found):.2g}°/s. A limit of {found.limit:g}°/s is {100 * MARGIN:g} % below "
        "the slower one"
    )
    if found.tried[-1].lost in (EDGE_ASTRAY, OFF_SENSOR):
        out().print(_astray_words(joint))
        return
    out().print(
        f"{joint.name} lost steps: look at it, then home it; where it does not count as homed say "
        f"unisono home --accept {joint.name}"
    )


def _astray_words(joint: Joint) -> str:
    """For whoever comes next: it was not homed after the steps that it lost."""
    larger = "larger" if joint.homing.direction > 0 else "smaller"
    return (
        f"{joint.name} LOST STEPS AND WAS NOT HOMED SINCE: it stands elsewhere than it believes, "
        f"and keeps to no range. Homing searches towards {larger} angles by its count, for up to "
        f"{joint.homing.travel_deg:g}°: where it stands beyond its home sensor on that side, it "
        "runs into whatever ends its range. Look at it; motors off, turn it by hand back before "
        f"its sensor, then unisono home {joint.name}"
    )


def _uncertainty(found: SpeedFound) -> float:
    """Of a speed that lies anywhere between two with equal chance (GUM, JCGM 100:2008, 4.3.7)."""
    assert found.lost_at is not None
    return (found.lost_at - found.highest) / sqrt(12.0)


def _as_json(joint: Joint, found: SpeedFound, remarks: list[str]) -> dict[str, Any]:
    return {
        "joint": joint.name, "unit": "deg/s", "highest": found.highest, "lost_at": found.lost_at,
        "uncertainty": None if found.lost_at is None else _uncertainty(found),
        "ways": found.ways, "limit": found.limit, "margin": MARGIN,
        "tried": [asdict(one) for one in found.tried], "remarks": remarks,
    }  # fmt: skip
