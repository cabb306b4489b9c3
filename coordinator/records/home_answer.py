"""What is kept of homings, as what one joint's home was."""

from collections.abc import Collection, Iterable, Mapping
from typing import Any

from coordinator.answers.joint_homings import JointHomings
from coordinator.config.joint import Joint
from coordinator.core.homing import HomingState
from coordinator.health.home_drift import figures_of, places_of
from coordinator.health.home_state import FoundHome, Passage, state_of


def homes_of(joint: str, kept: Iterable[tuple[str | None, Mapping[str, Any]]]) -> list[FoundHome]:
    """What homings found of a joint, of all homings as they are kept, oldest first."""
    found: list[FoundHome] = []
    follows = True
    for utc, homing in kept:
        home = _home(joint, utc, homing, follows=follows)
        if home is not None:
            found.append(home)
            follows = True
        elif homing.get("state") == HomingState.DONE and joint in homing.get("asked", ()):
            # It was homed, but what it found got lost.
            follows = False
    return found


def homings_of(joint: Joint, homes: list[FoundHome], accepted: Collection[int]) -> JointHomings:
    """What they are beside one another; `accepted` as of which of them somebody accepted home."""
    places = places_of(homes, accepted)
    state = state_of(homes, accepted, joint.home_shift_limit_deg)
    figures = figures_of(homes, places)
    return JointHomings(
        joint.name,
        tuple(places),
        joint.home_shift_limit_deg,
        state.wandered_deg if state is not None else None,
        figures.rising_deviation_deg,
        figures.falling_deviation_deg,
        figures.hysteresis_deg,
        figures.drift_deg_per_c,
    )


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
