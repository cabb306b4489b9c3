"""What the live feed tells: a state rounded to what is shown, and how one differs from the next.

Pure. See README.md here for the messages.
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import Final

from coordinator.answers.control import ControlState
from coordinator.answers.queue import Queue
from coordinator.core.events import Note
from coordinator.core.preview import Preview
from coordinator.core.snapshot.arm import ArmSnapshot
from coordinator.core.snapshot.joint import JointSnapshot
from coordinator.core.start_forecast import StartForecast

Members = dict[str, object]
"""Of a JSON object, by name; what is no plain value is a dataclass."""

_ARM: Final = tuple(
    field.name for field in fields(ArmSnapshot) if field.name not in ("now_us", "joints", "notes")
)
_JOINT: Final = tuple(field.name for field in fields(JointSnapshot) if field.name != "age_us")
"""The age of what a joint said is left to who knows the time."""
_UNCERTAINTY_STEP_US: Final = 100
_DELAY_STEP_US: Final = 10_000


@dataclass(frozen=True, slots=True)
class FeedState:
    """What all who watch know."""

    now_us: int
    members: Members
    joints: tuple[Members, ...]
    notes: Sequence[Note]

    def whole(self) -> Members:
        """All of it in one."""
        return {
            **self.members, "now_us": self.now_us, "joints": self.joints, "notes": self.notes
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class Change:
    """How a state differs from the one before."""

    set: Members
    """What of the arm is another, whole."""
    joints: dict[str, Members]
    """What of each joint is another, whole."""
    notes: Sequence[Note]
    """What came new."""


def feed_state(
    arm: ArmSnapshot,
    control: ControlState,
    preview: Preview | None,
    taught_revision: int,
    queue: Queue,
) -> FeedState:
    """What is told of an arm; figures as a person sees them: the rest would only chatter."""
    shown = replace(arm, start_forecast=_forecast(arm.start_forecast))
    members: Members = {name: getattr(shown, name) for name in _ARM}
    members |= {"control": control, "preview": preview, "taught_revision": taught_revision}
    members["queue"] = queue
    return FeedState(arm.now_us, members, tuple(map(_joint, arm.joints)), arm.notes)


def change(before: FeedState, after: FeedState) -> Change:
    """What differs. Both are of one arm, so they have the same joints."""
    pairs = zip(before.joints, after.joints, strict=True)
    joints = {str(joint["name"]): _differing(was, joint) for was, joint in pairs}
    return Change(
        _differing(before.members, after.members),
        {name: differing for name, differing in joints.items() if differing},
        _new(before.notes, after.notes),
    )


def _differing(before: Members, after: Members) -> Members:
    return {name: value for name, value in after.items() if before.get(name) != value}


def _joint(joint: JointSnapshot) -> Members:
    clock = joint.clock
    shown = replace(
        joint,
        position_deg=_rounded(joint.position_deg, 2),
        velocity_deg_s=_rounded(joint.velocity_deg_s, 1),
        temperature_c=_rounded(joint.temperature_c, 1),
        supply_v=_rounded(joint.supply_v, 1),
        supply=replace(
            joint.supply,
            expected_v=_rounded(joint.supply.expected_v, 1),
            hop_ohm=round(joint.supply.hop_ohm, 3),
            hop_uncertainty_ohm=_rounded(joint.supply.hop_uncertainty_ohm, 3),
        ),
        loss=_rounded(joint.loss, 3),
        rtt_p50_us=_rounded(joint.rtt_p50_us, -2),
        rtt_p99_us=_rounded(joint.rtt_p99_us, -2),
        worst_delay_us=None if joint.worst_delay_us is None else round(joint.worst_delay_us, -3),
        clock=replace(
            clock,
            uncertainty_us=_up(clock.uncertainty_us, _UNCERTAINTY_STEP_US),
            rate_ppm=_rounded(clock.rate_ppm, 1),
        ),
    )
    return {name: getattr(shown, name) for name in _JOINT}


def _forecast(start: StartForecast | None) -> StartForecast | None:
    if start is None:
        return None
    return replace(
        start,
        start_delay_us=_up(start.start_delay_us, _DELAY_STEP_US),
        within_us=_up(start.within_us, _UNCERTAINTY_STEP_US),
    )


def _up(us: int | None, step_us: int) -> int | None:
    """Rounded up, so that a bound stays one."""
    return None if us is None else -(-us // step_us) * step_us


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None else round(value, digits)


def _new(before: Sequence[Note], after: Sequence[Note]) -> Sequence[Note]:
    """What was appended to a list that may have lost its oldest."""
    for k in range(len(before)):
        if before[k:] == after[: len(before) - k]:
            return after[len(before) - k :]
    return after
