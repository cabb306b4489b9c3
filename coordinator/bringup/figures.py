"""What a step finds: figures that are kept with it, or why it is not done."""

from collections.abc import Callable
from typing import Final

from coordinator.accuracy.gear import LEAST_TURN_DEG, RATIO_TOLERANCE
from coordinator.bringup.facts import (
    Against,
    Facts,
    Figures,
    Found,
    NotSo,
    Said,
    WrongSaid,
    measured_against,
    require_heard,
)
from coordinator.bringup.homing_figures import home, repeatability
from coordinator.bringup.steps import Step
from coordinator.codes.survey_word import LinkVerdict
from coordinator.config.joint import MAX_ANGLE_DEG
from coordinator.pictures.survey import survey_picture


def found_by(step: Step, said: Said, facts: Facts) -> Found:
    """What a step found. Raises NotSo where it is not done by that."""
    _require_words(step, said)
    figures: Figures = {}
    if step.answers:
        if said.answer in step.bad_answers:
            sentence = f"{facts.joint.name}: {said.answer}: {_HELP[step.code]}"
            raise Against(sentence, {"answer": said.answer})
        figures["answer"] = said.answer
    found = _MEASURES[step.code](said, facts)
    return Found(figures | found.figures, found.picture)


def _require_words(step: Step, said: Said) -> None:
    """Raise WrongSaid for an answer or angles that the step does not ask for, or lacks."""
    if step.answers and said.answer not in step.answers:
        was = "nothing was said" if said.answer is None else f"{said.answer!r} is none of its words"
        raise WrongSaid(f"{step.code}: {was}: say one of {', '.join(map(repr, step.answers))}")
    if not step.answers and said.answer is not None:
        raise WrongSaid(f"{step.code} asks for no answer, but {said.answer!r} was given")
    angles = (said.commanded_deg, said.measured_deg)
    if step.measures and None in angles:
        raise WrongSaid(
            f"{step.code}: say by how many degrees it was told to turn, and by how many it did"
        )
    if not step.measures and angles != (None, None):
        raise WrongSaid(f"{step.code} asks for no angles, but some were given")


_LOOK: Final = "look at its motor, its supply and run_current_a"
_HELP: Final = {
    "identified": "its id in the arm file is that of another joint than you look at: let the "
    "others answer too, and write each id to the joint that has it",
    "placed": "put the joints of the arm file into the order in which they stand, base to tool",
    "sensors": "do not let it run: see to its fan first",
    "direction": "change direction in the arm file if it turned the other way; if it did not turn "
    f"at all, {_LOOK}",
    "range": "make range_deg in the arm file smaller, or clear the way",
}


def _identified(said: Said, facts: Facts) -> Found:
    joint = require_heard(facts)
    if said.answer == "touch" and facts.touched != joint.name:
        if facts.touched is None and not facts.joint.touch:
            raise NotSo(f"{joint.name} has touch = false in the arm file: see its light instead")
        if facts.touched is None:
            raise NotSo(
                f"nobody used {joint.name}'s own control in the last minute, as far as it was "
                "heard: turn it by a detent and say so at once"
            )
        raise measured_against(
            f"the control that was used last is {facts.touched}'s, not {joint.name}'s: the two "
            "stand in each other's place, or their ids do in the arm file",
            {"answer": said.answer, "id": joint.id, "touched": facts.touched},
        )
    return Found(
        {"id": joint.id, "firmware": joint.firmware, "board": joint.board,
         "rssi_dbm": joint.rssi_dbm}
    )  # fmt: skip


def _placed(_said: Said, facts: Facts) -> Found:
    return Found({"place": f"{facts.number} of {facts.of}", "letter": facts.joint.word})


def _configured(_said: Said, facts: Facts) -> Found:
    joint = require_heard(facts)
    if joint.configuration_message:
        raise NotSo(f"{joint.name} does not take its figures: {joint.configuration_message}")
    if joint.state is None or not joint.measured:
        raise NotSo(f"{joint.name} was linked only just now: wait a moment")
    described = facts.joint
    return Found(
        {
            "homing_before": facts.newest_homing,
            "survey_before_us": facts.survey_ended_us,
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
    joint = require_heard(facts)
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
    joint = require_heard(facts)
    if not joint.energised:
        raise NotSo(f"the motor of {joint.name} is off: it cannot have turned by itself just now")
    return Found({"direction": facts.joint.direction})


def _travel(said: Said, facts: Facts) -> Found:
    commanded, measured, name = said.commanded_deg, said.measured_deg, facts.joint.name
    if commanded is None or measured is None:
        raise WrongSaid(f"{name}: a turn is two angles")
    if not LEAST_TURN_DEG <= abs(commanded) <= MAX_ANGLE_DEG:
        raise WrongSaid(
            f"{commanded:g}° was commanded, but it takes {LEAST_TURN_DEG:g} to {MAX_ANGLE_DEG:g}° "
            "to tell a gear"
        )
    ratio, gear_ratio = measured / commanded, facts.joint.gear_ratio
    figures: Figures = {
        "commanded_deg": commanded, "measured_deg": measured, "measured_share": ratio,
        "gear_ratio": gear_ratio,
    }  # fmt: skip
    if abs(ratio - 1.0) <= RATIO_TOLERANCE:
        return Found(figures)
    if ratio == 0.0:
        wrong = f": it did not turn. {_LOOK.capitalize()}"
    elif ratio < 0.0:
        wrong = ": it turned the other way. See direction, correct the arm file, and home it"
    else:
        # So many motor turns as were asked for turned it by what was measured.
        wrong = (
            f"; with gear_ratio {gear_ratio:g} in the arm file that is a gear_ratio of "
            f"{gear_ratio / ratio:.4g}. Correct the arm file, and home it"
        )
    raise measured_against(
        f"{name} was told to turn by {commanded:g}° and turned by {measured:g}°{wrong}", figures
    )


def _range(_said: Said, facts: Facts) -> Found:
    joint = require_heard(facts)
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
    if facts.survey_ended_us == facts.configured.get("survey_before_us"):
        raise NotSo(
            f"the newest survey of {facts.joint.name}'s link is of before it was configured with "
            f"what it is now: unisono survey {facts.joint.name}"
        )
    measured = survey.figures
    figures: Figures = {
        "verdict": str(survey.verdict), "exchanges": measured.sent, "lost": measured.lost,
        "loss_high": measured.loss_high, "longest_loss": measured.longest_loss,
        "rtt_p50_us": measured.rtt_p50_us, "rtt_p95_us": measured.rtt_p95_us,
        "rtt_p99_us": measured.rtt_p99_us, "rtt_max_us": measured.rtt_max_us,
        "start_delay_us": measured.start_delay_us,
    }  # fmt: skip
    if survey.verdict is LinkVerdict.POOR:
        raise measured_against(
            f"{facts.joint.name}: {survey.message}: see to its link, and survey it again", figures
        )
    return Found(figures, survey_picture((survey,)))


_MEASURES: Final[dict[str, Callable[[Said, Facts], Found]]] = {
    "identified": _identified,
    "placed": _placed,
    "configured": _configured,
    "sensors": _sensors,
    "direction": _direction,
    "home": home,
    "travel": _travel,
    "range": _range,
    "link": _link,
    "repeatability": repeatability,
}
