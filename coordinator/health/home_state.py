"""Where a joint's home is, as its homings leave it one after another.

A joint that is still homed as it begins to home knows by how much home was not where it believed
it. So homings in a row, each of a joint that still knew its place, are *comparable*: their shifts
add up to how far home is from where the first of them, the *reference*, found it. By the motor's
steps, that is: whether steps were lost or the sensor moved, nobody can tell from one sensor. A
joint that was not homed, as after a restart, says nothing of the homings before, and is a
reference itself.
"""

from collections.abc import Collection, Iterable
from dataclasses import dataclass, replace
from typing import NamedTuple


class Passage(NamedTuple):
    """One passage of the home sensor's edge."""

    rising: bool
    fast: bool
    from_middle_deg: float


@dataclass(frozen=True, slots=True)
class FoundHome:
    """What one homing found of a joint, as it is kept."""

    homing: int
    utc: str | None
    passages: tuple[Passage, ...]
    """In the order in which they were met."""
    shift_deg: float | None
    """From where the joint believed home to be; None where it was not homed."""
    temperature_c: float | None
    controller: str | None
    figures: str | None
    follows: bool
    """Whether what the homing before it found is kept: else a shift may be missing in between."""


@dataclass(frozen=True, slots=True)
class HomeState:
    """A joint's home as the newest of its homings left it. What a homing does to it is `after`."""

    homing: int
    """The newest."""
    controller: str | None
    figures: str | None
    reference: int
    """The homing that it is compared with; itself where there is none."""
    since_reference_deg: float = 0.0
    wandered_deg: float | None = None
    """How far home was from its reference when it was beyond the limit last, until somebody accepts
    it: no later homing makes that good."""

    def accepted(self) -> "HomeState":
        """Somebody has looked at it: home is where it is, and the reference from now on."""
        return replace(self, reference=self.homing, since_reference_deg=0.0, wandered_deg=None)

    def lost(self) -> "HomeState":
        """The joint was homed, but what it found is not known: nothing can be compared with it."""
        return replace(self, controller=None, figures=None)


def after(state: HomeState | None, one: FoundHome, limit_deg: float) -> HomeState:
    """What a homing makes of it; `limit_deg` is how far home may be from its reference."""
    here = HomeState(one.homing, one.controller, one.figures, one.homing)
    if state is None:
        return here
    same = (state.controller, state.figures) == (one.controller, one.figures)
    if one.shift_deg is None or not one.follows or not same:
        return replace(here, wandered_deg=state.wandered_deg)
    since_deg = state.since_reference_deg + one.shift_deg
    return replace(
        here,
        reference=state.reference,
        since_reference_deg=since_deg,
        wandered_deg=since_deg if abs(since_deg) > limit_deg else state.wandered_deg,
    )


def state_of(
    homings: Iterable[FoundHome], accepted: Collection[int], limit_deg: float
) -> HomeState | None:
    """What homings made of a joint's home, oldest first as they come; None without any.

    `accepted`: numbers of homings after which somebody accepted it.
    """
    state = None
    for one in homings:
        state = after(state, one, limit_deg)
        if one.homing in accepted:
            state = state.accepted()
    return state
