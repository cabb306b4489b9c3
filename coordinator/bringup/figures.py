"""What a step finds: figures that are kept with it, or why it is not done."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final

from coordinator.accuracy.gear import LEAST_TURN_DEG, RATIO_TOLERANCE
from coordinator.answers.bring_up import Figure
from coordinator.answers.joint_homings import JointHomings
from coordinator.bringup.steps import Step
from coordinator.codes.survey_word import LinkVerdict
from coordinator.config.joint import MAX_ANGLE_DEG, Joint
from coordinator.core.homing import figures_in_words
from coordinator.core.snapshot.joint import JointSnapshot
from coordinator.health.link_survey.joint_survey import JointSurvey
from coordinator.pictures.homings import homings_picture
from coordinator.pictures.survey import survey_picture

Figures = dict[str, Figure]


class NotSo(Exception):
    """What the step asks for is not so; the text is the sentence."""


@dataclass(frozen=True, slots=True)
class Said:
    """What somebody says of a step."""

    answer: str | None = None
    commanded_deg: float | None = None
    measured_deg: float | None = None


@dataclass(frozen=True, slots=True)
class Facts:
    """What is known of the joint as the step is done."""

    joint: Joint
    number: int
    """Its place, from the base."""
    of: int
    """How many joints the arm has."""
    snapshot: JointSnapshot
    homing: Mapping[str, Any] | None
    """What its newest homing found, as it is kept."""
    homings: JointHomings
    survey: JointSurvey | None
    """Of the newest survey that is done."""


@dataclass(frozen=True, slots=True)
class Found:
    """What is kept of a step."""

    figures: Figures
    picture: str | None = None


def found_by(step: Step, said: Said, facts: Facts) -> Found:
    """What a step found. Raises NotSo where it is not done by that."""
    figures: Figures = {}
    if step.answers:
        if said.answer not in step.answers:
            raise NotSo(f"{step.title}: say one of {', '.join(step.answers)}")
        if said.answer not in step.good_answers:
            raise NotSo(f"{facts.joint.name}: {said.answer}: {_HELP[step.code]}")
        figures["answer"] = said.answer
    found = _MEASURES[step.code](said, facts)
    return Found(figures | found.figures, found.picture)


_HELP: Final = {
    "identified": "the ids in the arm file are in other places than the joints: change them there",
    "placed": "put the joints of the arm file into the order in which they stand, base to tool",
    "sensors": "do not let it run: see to its fan first",
    "direction": "change direction in the arm file if it turned the other way; if it did not turn "
    "at all, look at its motor, its supply and run_current_a",
    "range": "make range_deg in the arm file smaller, or clear the way",
}


def _require_heard(facts: Facts) -> JointSnapshot:
    joint = facts.snapshot
    if joint.link != "up":
        raise NotSo(f"{joint.name} is not linked: {joint.link_message or joint.link}")
    return joint


def _identified(_said: Said, facts: Facts) -> Found:
    joint = _require_heard(facts)
    return Found(
        {"id": joint.id, "firmware": joint.firmware, "board": joint.board,
         "rssi_dbm": joint.rssi_dbm}
    )  # fmt: skip


def _placed(_said: Said, facts: Facts) -> Found:
    return Found({"place": f"{facts.number} of {facts.of}", "letter": facts.joint.word})


def _configured(_said: Said, facts: Facts) -> Found:
    joint = _require_heard(facts)
    if joint.configuration_message:
        raise NotSo(f"{joint.name} does not take its figures: {joint.configuration_message}")
    if joint.state is None or not joint.measured:
        raise NotSo(f"{joint.name} was linked only just now: wait a moment")
    described = facts.joint
    return Found(
        {
            "full_steps": described.full_steps,
            "microsteps": described.microsteps,
            "gear_ratio": described.gear_ratio,
            "direction": described.direction,
            "microstep_deg": described.microstep_deg,
            "velocity_deg_s": described.velocity_deg_s,
            "temperature_limit_c": described.temperature_limit_c,
        }
    )


def _sensors(_said: Said, facts: Facts) -> Found:
    joint = _require_heard(facts)
    if not joint.plausible or joint.temperature_c is None:
        raise NotSo(f"the temperature of {joint.name} cannot be believed, or is not known yet")
    if joint.temperature_c >= joint.warning_c:
        raise NotSo(
            f"{joint.name} has {joint.temperature_c:.1f} °C, and is warned of above "
            f"{joint.warning_c:g} °C: let it cool, and look why it is warm at rest"
        )
    if joint.supply.lost:
        raise NotSo(f"the motor of {joint.name} has no supply")
    if joint.supply_v is not None and joint.supply_v < facts.joint.supply_limit_v:
        raise NotSo(
            f"{joint.name} has {joint.supply_v:.2f} V, below its supply_limit_v of "
            f"{facts.joint.supply_limit_v:g} V"
        )
    if joint.faults:
        raise NotSo(f"{joint.name} has a fault: {', '.join(joint.faults)}")
    return Found(
        {"temperature_c": joint.temperature_c, "supply_v": joint.supply_v,
         "fan_percent": joint.fan_percent}
    )  # fmt: skip


def _direction(_said: Said, facts: Facts) -> Found:
    joint = _require_heard(facts)
    if not joint.energised:
        raise NotSo(f"the motor of {joint.name} is off: it cannot have turned by itself just now")
    return Found({"direction": facts.joint.direction})


def _home(_said: Said, facts: Facts) -> Found:
    joint, found = _require_heard(facts), facts.homing
    if not joint.homed or found is None:
        raise NotSo(f"{joint.name} is not homed: home it first")
    if joint.wandered_deg is not None:
        raise NotSo(
            f"home of {joint.name} wandered by {joint.wandered_deg:+.3g}°: look at it first"
        )
    if found.get("controller") != joint.id or found.get("figures") != figures_in_words(facts.joint):
        raise NotSo(
            f"the newest homing of {joint.name} is by another controller or other figures: home it "
            "again"
        )
    edges = found.get("edges") or ()
    slow = [float(one["from_middle_deg"]) for one in edges if not one["fast"]]
    place = next((one for one in facts.homings.homings if one.homing == found.get("homing")), None)
    return Found(
        {
            "homing": found.get("homing"),
            "edges": len(edges),
            "sensor_width_deg": max(slow) - min(slow) if len(slow) > 1 else None,
            "hysteresis_deg": None if place is None else place.hysteresis_deg,
            "shift_deg": found.get("shift_deg"),
            "temperature_c": found.get("temperature_c"),
        },
        _homings_drawn(facts),
    )


def _travel(said: Said, facts: Facts) -> Found:
    commanded, measured, name = said.commanded_deg, said.measured_deg, facts.joint.name
    if commanded is None or measured is None:
        raise NotSo("say by how many degrees it was told to turn, and by how many it did")
    if not LEAST_TURN_DEG <= abs(commanded) <= MAX_ANGLE_DEG:
        raise NotSo(
            f"{commanded:g}° was commanded, but it takes {LEAST_TURN_DEG:g} to {MAX_ANGLE_DEG:g}° "
            "to tell a gear"
        )
    ratio = measured / commanded
    if abs(ratio - 1.0) > RATIO_TOLERANCE:
        # So many motor turns as were asked for turned it by what was measured.
        wrong = "it turned the other way: see direction"
        if ratio > 0.0:
            wrong = f"that is a gear_ratio of {facts.joint.gear_ratio / ratio:.4g}"
        raise NotSo(
            f"{name} was told to turn by {commanded:g}° and turned by {measured:g}°; with "
            f"gear_ratio {facts.joint.gear_ratio:g} in the arm file {wrong}. Correct the arm file, "
            "and home it"
        )
    return Found(
        {"commanded_deg": commanded, "measured_deg": measured, "measured_share": ratio,
         "gear_ratio": facts.joint.gear_ratio}
    )  # fmt: skip


def _range(_said: Said, facts: Facts) -> Found:
    joint = _require_heard(facts)
    if not joint.homed:
        raise NotSo(f"{joint.name} is not homed: its range is not where you think")
    low, high = facts.joint.range_deg or (None, None)
    return Found({"lowest_deg": low, "highest_deg": high})


def _link(_said: Said, facts: Facts) -> Found:
    survey = facts.survey
    if survey is None or survey.figures is None:
        raise NotSo(
            f"no survey of {facts.joint.name}'s link is done since the coordinator began: unisono "
            f"survey {facts.joint.name}"
        )
    if survey.verdict is LinkVerdict.POOR:
        raise NotSo(f"{facts.joint.name}: {survey.message}: see to its link, and survey it again")
    figures = survey.figures
    return Found(
        {
            "verdict": str(survey.verdict), "exchanges": figures.sent, "lost": figures.lost,
            "loss_high": figures.loss_high, "longest_loss": figures.longest_loss,
            "rtt_p50_us": figures.rtt_p50_us, "rtt_p95_us": figures.rtt_p95_us,
            "rtt_p99_us": figures.rtt_p99_us, "rtt_max_us": figures.rtt_max_us,
            "start_delay_us": figures.start_delay_us,
        },
        survey_picture((survey,)),
    )  # fmt: skip


def _repeatability(_said: Said, facts: Facts) -> Found:
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
        raise NotSo(
            f"home of {facts.joint.name} scatters by {deviation:.3g}°, more than its limit of "
            f"{told.shift_limit_deg:.3g}°: look at sensor, magnet and gear"
        )
    return Found(figures, _homings_drawn(facts))


def _homings_drawn(facts: Facts) -> str | None:
    return homings_picture(facts.homings) if facts.homings.homings else None


_MEASURES: Final[dict[str, Callable[[Said, Facts], Found]]] = {
    "identified": _identified,
    "placed": _placed,
    "configured": _configured,
    "sensors": _sensors,
    "direction": _direction,
    "home": _home,
    "travel": _travel,
    "range": _range,
    "link": _link,
    "repeatability": _repeatability,
}
