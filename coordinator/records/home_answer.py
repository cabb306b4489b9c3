"""What is kept of homings, as what one joint's home was."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Any

from coordinator.answers.joint_homings import JointHomings
from coordinator.config.joint import Joint
from coordinator.core.homing import HomingState
from coordinator.health.home_drift import anchored, figures_of, levelled, places_of
from coordinator.health.home_state import FoundHome, HomeState, Passage, state_of

Kept = tuple[str | None, Mapping[str, Any]]
"""When a homing ended, and what is kept of it."""


def homes_of(joint: str, kept: Iterable[Kept]) -> list[FoundHome]:
    """What homings found of a joint, of all homings as they are kept, oldest first."""
    found: list[FoundHome] = []
    follows = True
    for utc, homing in kept:
        home = _home(joint, utc, homing, follows=follows)
        if home is not None:
            found.append(home)
            follows = True
        elif _lost(joint, homing):
            follows = False
    return found


def newest_state(
    joint: Joint,
    newest: Mapping[str, Any] | None,
    kept: Sequence[Kept],
    accepted: Collection[int],
) -> HomeState | None:
    """A joint's home as the homings left it, of this coordinator and those before; None for none.

    `newest` is its newest homing's result with its number, however old; `kept` the newest homings
    of the arm. The reference is kept with each homing, so that it does not depend on how many came
    since. Homings of before that was kept are gone through one after another.
    """
    state = _kept_state(newest)
    if newest is None or state is None:
        return state_of(homes_of(joint.name, kept), accepted, joint.home_shift_limit_deg)
    if state.homing in accepted:
        state = state.accepted()
    since = (homing for _, homing in kept if _number(homing) > state.homing)
    return state.lost() if any(_lost(joint.name, one) for one in since) else state


def homings_of(
    joint: Joint, homes: list[FoundHome], accepted: Collection[int], state: HomeState | None
) -> JointHomings:
    """What they are beside one another; `accepted` as of which of them somebody accepted home."""
    places = anchored(places_of(homes, accepted), state)
    figures = figures_of(homes, places)
    return JointHomings(
        joint.name,
        tuple(levelled(homes, places, figures.drift_deg_per_c.value)),
        joint.home_shift_limit_deg,
        state.wandered_deg if state is not None else None,
        figures.rising_deviation_deg,
        figures.falling_deviation_deg,
        figures.hysteresis_deg,
        figures.drift_deg_per_c,
    )


def _lost(joint: str, homing: Mapping[str, Any]) -> bool:
    """Whether it was homed, but what it found got lost."""
    return (
        homing.get("state") == HomingState.DONE
        and joint in homing.get("asked", ())
        and joint not in homing.get("joints", {})
    )


def _number(homing: Mapping[str, Any]) -> int:
    number = homing.get("number")
    return number if isinstance(number, int) else 0


def _kept_state(newest: Mapping[str, Any] | None) -> HomeState | None:
    """As it is kept with a homing; None where that is of before it was, or none."""
    try:
        if newest is None or newest.get("reference") is None:
            return None
        wandered_deg = newest["wandered_deg"]
        return HomeState(
            homing=newest["homing"],
            controller=newest["controller"],
            figures=newest["figures"],
            reference=int(newest["reference"]),
            since_reference_deg=float(newest["since_reference_deg"]),
            wandered_deg=None if wandered_deg is None else float(wandered_deg),
        )
    except (KeyError, TypeError, ValueError, AttributeError):
        return None


def _home(
    joint: str, utc: str | None, homing: Mapping[str, Any], *, follows: bool
) -> FoundHome | None:
    """What one homing found of it; None where it found nothing, or is no homing."""
    try:
        found = homing["joints"][joint]
        passages = tuple(
            Passage(bool(edge["rising"]), bool(edge["fast"]), float(edge["from_middle_deg"]))
            for edge in found["edges"]
        )
        return FoundHome(
            homing=homing["number"],
            utc=utc,
            passages=passages,
            shift_deg=found.get("shift_deg"),
            temperature_c=found.get("temperature_c"),
            controller=found.get("controller"),
            figures=found.get("figures"),
            follows=follows,
        )
    except (KeyError, TypeError, ValueError, AttributeError):
        return None
