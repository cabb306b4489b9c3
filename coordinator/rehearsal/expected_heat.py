"""How warm joints get by a program, as far as what was fitted of them tells."""

from collections.abc import Mapping, Sequence
from typing import Final

from coordinator.codes.link_word import LinkWord
from coordinator.config.joint import Joint
from coordinator.core.snapshot.joint import JointSnapshot
from coordinator.health.heat_peak import peak_c
from coordinator.health.heat_report import Estimate


def peaks_c(
    joints: Sequence[Joint], told: Sequence[JointSnapshot], for_s: float
) -> dict[str, Estimate | None]:
    """The highest temperature of each joint that plays for so long from now on, by its name; None
    where it is not known. `told` is what a coordinator tells of them, if one does.
    """
    found = {one.name: _peak_c(one, for_s) for one in told}
    return {joint.name: found.get(joint.name) for joint in joints}


def _peak_c(one: JointSnapshot, for_s: float) -> Estimate | None:
    if one.link is not LinkWord.UP or one.heat is None or one.temperature_c is None:
        return None
    return peak_c(one.temperature_c, one.heat, for_s, fan_runs=bool(one.fan_percent))


def too_warm(peaks: Mapping[str, Estimate | None], joints: Sequence[Joint]) -> list[Joint]:
    """The joints that are likely to get to where they stop, or sure to."""
    return [
        joint
        for joint in joints
        if (peak := peaks[joint.name]) is not None and peak.value >= joint.temperature_limit_c
    ]


def rest_needed(joint: Joint, told: Sequence[JointSnapshot]) -> str:
    """How much it must rest to stay below where it stops while it plays on, a clause."""
    found = next((one for one in told if one.name == joint.name), None)
    share = found.heat.run_rest_share if found is not None and found.heat is not None else None
    if not share:
        return f"no rest with its motor held is known to keep {joint.name} below"
    return (
        f"resting {share:.0%} of the time, in turns of a few minutes with its motor held, keeps "
        f"{joint.name} below"
    )


def heat_sentence(
    peaks: Mapping[str, Estimate | None], joints: Sequence[Joint], told: Sequence[JointSnapshot]
) -> str:
    """The highest temperature of each joint, which comes nearest to stopping, and why some are not
    known. `told` is what a coordinator tells of them, if one does.
    """
    known = [(joint, peak) for joint in joints if (peak := peaks[joint.name]) is not None]
    why = _why_not(peaks, told)
    if not known:
        if why:
            return f"highest temperature: not known ({why})"
        return (
            "highest temperature: not known; that takes an arm that is served, whose joints were "
            "watched resting and moving"
        )
    worst, hottest = max(known, key=lambda one: _nearness(*one))
    each = ", ".join(f"{name} {_within(peak)}" for name, peak in peaks.items())
    reached = _nearness(worst, hottest)[0]
    rest = f"; {rest_needed(worst, told)}" if reached else ""
    return (
        f"highest temperature: {each}; of those known {worst.name} {_NEAR[reached]} where it "
        f"stops, {worst.temperature_limit_c:g} °C{rest}; by one body of heat each, as fitted, as "
        "warm as before these rehearsals, its fan as it was, without a break"
        f"{f'; not known: {why}' if why else ''}"
    )


def _why_not(peaks: Mapping[str, Estimate | None], told: Sequence[JointSnapshot]) -> str:
    """The joints of which no temperature is known, by reason; empty where no coordinator tells."""
    if not told:
        return ""
    found = {one.name: one for one in told}
    by_reason: dict[str, list[str]] = {}
    for name, peak in peaks.items():
        if peak is None:
            by_reason.setdefault(_reason(found.get(name)), []).append(name)
    return "; ".join(f"{', '.join(names)}: {reason}" for reason, names in by_reason.items())


def _reason(one: JointSnapshot | None) -> str:
    if one is None:
        return "its coordinator does not tell of it"
    if one.link is not LinkWord.UP:
        return f"its link is {one.link.value}"
    if one.temperature_c is None:
        return "it tells no temperature"
    if one.heat is None:
        return "nothing was fitted to its temperature"
    if None in (one.heat.ambient_c, one.heat.run_rise_c, one.heat.time_constant_s):
        return one.heat.why_not
    return "its fan runs and may go off"


_NEAR: Final = ("is nearest to", "may get to", "is likely to get to", "gets to")


def _nearness(joint: Joint, peak: Estimate) -> tuple[int, float]:
    """How much of what is told of it is at its limit or above, 0 to 3; and by how much it is."""
    limit_c = joint.temperature_limit_c
    reached = sum(one >= limit_c for one in (peak.low, peak.value, peak.high))
    return reached, peak.high - limit_c


def _within(peak: Estimate | None) -> str:
    if peak is None:
        return "not known"
    return f"{peak.value:.1f} °C ({peak.low:.1f} to {peak.high:.1f})"
