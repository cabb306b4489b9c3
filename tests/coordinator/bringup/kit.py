"""A joint that is brought up in a table's time: what is known of it, and all that is said."""

import dataclasses
from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Final

from coordinator.answers.bring_up import BringUp
from coordinator.answers.joint_homings import JointHomings
from coordinator.api.responses.arm import ARM
from coordinator.api.responses.joint_homings import HOMINGS
from coordinator.api.responses.survey import SURVEY
from coordinator.bringup.basis import basis_of
from coordinator.bringup.facts import Facts, Figures, Said
from coordinator.bringup.figures import found_by
from coordinator.bringup.progress import (
    OTHER_BODY,
    SAME_BODY,
    Done,
    body_of,
    bring_up,
    newest_before,
)
from coordinator.bringup.steps import STEPS, Step
from coordinator.codes.link_word import LinkWord
from coordinator.codes.survey_word import LinkVerdict
from coordinator.config.arm import load_arm
from coordinator.config.joint import Joint
from coordinator.config.settings import DEMO_ARM
from coordinator.core.homing import figures_in_words
from coordinator.health.home_drift import HomeFigure

ELBOW: Final = load_arm(DEMO_ARM).joint("elbow")
NUMBER: Final = 3
FIRMWARE: Final = "1.5.0"
SAID: Final = {
    "identified": Said("light"), "placed": Said("it is there"), "sensors": Said("as it says"),
    "direction": Said("to larger angles"), "travel": Said(None, 90.0, 91.0),
    "range": Said("both ends are free"),
}  # fmt: skip


def facts(joint: Joint = ELBOW, number: int = NUMBER, **heard: Any) -> Facts:
    """Of a joint in whose bring-up nothing is wrong."""
    snapshot = replace(
        ARM.joints[0], name=joint.name, id=joint.id, link=LinkWord.UP, configuration_message="",
        measured=True, state="ready", homed=True, wandered_deg=None, energised=True, faults=(),
        plausible=True, temperature_c=28.0, warning_c=50.0, supply_v=23.9,
    )  # fmt: skip
    snapshot = replace(snapshot, supply=replace(snapshot.supply, lost=False))
    homings: JointHomings = replace(
        HOMINGS, joint=joint.name, hysteresis_deg=HomeFigure(0.04, 0.001, 6, "")
    )
    survey = replace(SURVEY.results[0], joint=joint.name, verdict=LinkVerdict.GOOD)
    homing = {
        "homing": 15, "controller": joint.id, "figures": figures_in_words(joint),
        "shift_deg": 0.005, "temperature_c": 31.0,
        "edges": [{"fast": False, "from_middle_deg": at} for at in (1.5, -1.5)],
    }  # fmt: skip
    of_facts = {one.name for one in dataclasses.fields(Facts)}
    of_joint = {key: value for key, value in heard.items() if key not in of_facts}
    known = Facts(
        joint, number, 6, replace(snapshot, **of_joint), homing, homings, survey,
        survey_ended_us=2_000_000, behind=14, configured={"survey_before_us": 1_000_000},
    )  # fmt: skip
    return replace(known, **{key: value for key, value in heard.items() if key in of_facts})


def do(
    step: Step,
    done: Sequence[Done],
    joint: Joint = ELBOW,
    number: int = NUMBER,
    firmware: str = FIRMWARE,
) -> list[Done]:
    """All that is done once this step is, too; for `home` it is homed anew."""
    known = facts(joint, number, behind=newest_before(done))
    newest = newest_homing(done) + (step.code == "home")
    known = replace(known, homing={**(known.homing or {}), "homing": newest})
    found = found_by(step, SAID.get(step.code, Said()), known)
    basis = basis_of(joint, number, firmware, body_of(joint.id, done))
    one = Done(
        step.code, f"2026-05-01T09:{len(done):02}:00+00:00", "the owner", basis, found.figures,
        found.picture,
    )  # fmt: skip
    return [*done, one]


def newest_homing(done: Sequence[Done]) -> int:
    """Of the joint of which that was done."""
    told = [one.figures.get(name) for one in done for name in ("homing", "homing_before")]
    return max((one for one in told if isinstance(one, int)), default=14)


def brought_up(joint: Joint = ELBOW, number: int = NUMBER) -> list[Done]:
    """All steps."""
    done: list[Done] = []
    for step in STEPS:
        done = do(step, done, joint, number)
    return done


def said_same_body(done: Sequence[Done], joint: Joint) -> list[Done]:
    """The controller alone was changed."""
    basis = basis_of(joint, NUMBER, FIRMWARE, done[-1].basis["body"])
    return [*done, Done(SAME_BODY, "2026-05-02T09:00:00+00:00", "the owner", basis, {})]


def said_other_body(done: Sequence[Done], joint: Joint = ELBOW) -> list[Done]:
    """Motor, gear or housing were changed."""
    basis = basis_of(joint, NUMBER, FIRMWARE, f"changed, {len(done) + 1}")
    figures: Figures = {"homing_before": newest_homing(done)}
    return [*done, Done(OTHER_BODY, "2026-05-03T09:00:00+00:00", "the owner", basis, figures)]


def said_against(done: Sequence[Done], step: str, answer: str, joint: Joint = ELBOW) -> list[Done]:
    """Somebody saw that a step is not so."""
    basis = basis_of(joint, NUMBER, FIRMWARE, body_of(joint.id, done))
    utc = "2026-05-03T09:00:00+00:00"
    return [*done, Done(step, utc, "the owner", basis, {"answer": answer})]


def asked_again(told: BringUp) -> list[str]:
    """Codes of the steps that are to be done."""
    return [one.step for one in told.steps if one.state != "done"]


def now(done: Sequence[Done], joint: Joint = ELBOW, number: int = NUMBER) -> BringUp:
    """How far it is."""
    return bring_up(joint, number, FIRMWARE, done)
