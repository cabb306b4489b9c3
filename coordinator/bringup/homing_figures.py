"""What homings say of a joint, for the steps that ask for them."""

from coordinator.accuracy.gear import RATIO_TOLERANCE
from coordinator.bringup.facts import (
    Facts,
    Figures,
    Found,
    NotSo,
    Said,
    measured_against,
    require_heard,
)
from coordinator.bringup.steps import EDGE_STEPS
from coordinator.core.homing import figures_in_words
from coordinator.pictures.homings import homings_picture


def home(_said: Said, facts: Facts) -> Found:
    """Home as the newest homing found it."""
    joint, found = require_heard(facts), facts.homing
    if not joint.homed or found is None:
        raise NotSo(f"{joint.name} is not homed: home it first")
    if joint.wandered_deg is not None:
        raise measured_against(
            f"home of {joint.name} wandered by {joint.wandered_deg:+.3g}°: look at it first",
            {"homing": found.get("homing"), "wandered_deg": joint.wandered_deg},
        )
    if found.get("controller") != joint.id or found.get("figures") != figures_in_words(facts.joint):
        raise NotSo(
            f"the newest homing of {joint.name} is by another controller or other figures: home it "
            "again"
        )
    if (facts.newest_homing or 0) <= facts.behind:
        raise NotSo(
            f"the newest homing of {joint.name} is of before it was configured with what it is "
            "now, or before motor, gear, housing or magnets were changed: home it again"
        )
    edges = found.get("edges") or ()
    slow = [float(one["from_middle_deg"]) for one in edges if not one["fast"]]
    width_deg = max(slow) - min(slow) if len(slow) > 1 else None
    _require_width(width_deg, facts)
    place = next((one for one in facts.homings.homings if one.homing == found.get("homing")), None)
    return Found(
        {
            "homing": found.get("homing"),
            "edges": len(edges),
            "sensor_width_deg": width_deg,
            "hysteresis_deg": None if place is None else place.hysteresis_deg,
            "shift_deg": found.get("shift_deg"),
            "temperature_c": found.get("temperature_c"),
        },
        _homings_drawn(facts),
    )


def _require_width(width_deg: float | None, facts: Facts) -> None:
    """The same motor, gear and magnet show a home sensor as wide as before: another gear seen by
    the old figures does not, which nobody measures again who says that the body stayed.
    """
    before_deg, joint = facts.width_before_deg, facts.joint
    if before_deg is None or before_deg <= 0.0:
        return
    if width_deg is None:
        raise NotSo(
            f"the width of {joint.name}'s home sensor is not known of its newest homing, and was "
            f"{before_deg:.3g}° with the same motor, gear and housing, as was said: home it again. "
            "Where that is of no avail, look, and say other-body"
        )
    may_differ_deg = RATIO_TOLERANCE * before_deg + EDGE_STEPS * joint.microstep_deg
    if abs(width_deg - before_deg) > may_differ_deg:
        raise measured_against(
            f"the home sensor of {joint.name} is {width_deg:.3g}° wide, and was {before_deg:.3g}° "
            "with the same motor, gear and housing, as was said: another magnet or sensor, or a "
            f"gear_ratio of {joint.gear_ratio * width_deg / before_deg:.4g} where the arm file has "
            f"{joint.gear_ratio:g}. Look, and say other-body if it was changed: its travel is "
            "measured anew then",
            {"homing": facts.newest_homing, "sensor_width_deg": width_deg},
        )


def repeatability(_said: Said, facts: Facts) -> Found:
    """How well home is found again, homing after homing."""
    told = facts.homings
    figures: Figures = {}
    for name, one in (
        ("rising_deviation_deg", told.rising_deviation_deg),
        ("falling_deviation_deg", told.falling_deviation_deg),
        ("hysteresis_deg", told.hysteresis_deg),
    ):
        if one.value is None and name != "hysteresis_deg":
            raise NotSo(f"{facts.joint.name}: {one.why}")
        figures |= {name: one.value, f"{name}_uncertainty": one.uncertainty}
    figures["homings"] = told.rising_deviation_deg.homings
    figures["shift_limit_deg"] = told.shift_limit_deg
    deviation = told.rising_deviation_deg.value
    if deviation is not None and deviation > told.shift_limit_deg:
        raise measured_against(
            f"home of {facts.joint.name} scatters by {deviation:.3g}°, more than its limit of "
            f"{told.shift_limit_deg:.3g}°: look at sensor, magnet and gear",
            figures,
        )
    return Found(figures, _homings_drawn(facts))


def _homings_drawn(facts: Facts) -> str | None:
    return homings_picture(facts.homings) if facts.homings.homings else None
