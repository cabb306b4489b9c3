"""How a hop wears, in two sentences."""

from datetime import date
from typing import Final

from coordinator.answers.joint_history import HopWear, JointWear

HELD: Final = "of simulated rings 95 % held to theirs, no real one was measured"
"""What its interval is worth, by the tests behind docs/history.md."""


def hop_lines(wear: JointWear, today: date) -> list[str]:
    """What the hop to a joint has and may have, and when it is worn out if it goes on so."""
    if wear.hop is None:
        return [f"how the hop to {wear.joint} wears is not known: the coordinator is an older one"]
    return [_present(wear.joint, wear.hop), _forecast(wear.joint, wear.hop, today)]


def _present(joint: str, hop: HopWear) -> str:
    now = (
        f"is not fitted ({hop.message})"
        if hop.ohm is None or hop.uncertainty_ohm is None
        else f"has {hop.ohm:.3f} Ω, standard uncertainty {hop.uncertainty_ohm:.3f} Ω"
    )
    bears = (
        "with all joints in motion one IS BELOW its supply_limit_v whatever this hop has"
        if hop.limit_ohm is None
        else f"with all joints in motion the arm bears {hop.limit_ohm:.3f} Ω there"
    )
    return f"the hop to {joint} {now}; {bears}"


def _forecast(joint: str, hop: HopWear, today: date) -> str:
    days = "" if hop.since is None else f" (by {hop.days} days from {hop.since} to {hop.until})"
    # From whatever it is known, this comes first: no sentence may say less than that.
    if hop.beyond and hop.limit_ohm is not None:
        line = f"; its line passes that about {hop.passes}" if hop.passes else ""
        return (
            f"{joint}'s hop HAS MORE THAN THE ARM BEARS{days}: with all joints in motion one may "
            f"stop, and the arm with it. Look at its slip ring and plugs{line}"
        )
    is_early = hop.earliest is not None and date.fromisoformat(hop.earliest) <= today
    already = "; it may have passed that ALREADY" if is_early else ""
    if hop.passes is None:
        when = f"when that is passed is not known: {hop.reason}{days}"
        early = f"; it may be at {hop.earliest} already" if hop.earliest else ""
        return f"{when}{already or early}"
    rise = ""
    if hop.ohm_per_day is not None and hop.uncertainty_ohm_per_day is not None:
        rise = (
            f"it wears by {1e3 * hop.ohm_per_day:.3g} mΩ a day, standard uncertainty "
            f"{1e3 * hop.uncertainty_ohm_per_day:.2g} mΩ{days}; "
        )
    return (
        f"{rise}if that goes on and nothing else changes, it passes that about {hop.passes}, by "
        f"its 90 % interval from {hop.earliest or 'then'} to {hop.latest or 'some day after 2199'} "
        f"({HELD}){already}"
    )
