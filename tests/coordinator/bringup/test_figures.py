"""What keeps a step from being done, and what is kept of one that is."""

from dataclasses import replace
from typing import Any

import pytest

from coordinator.bringup.figures import NotSo, Said, found_by
from coordinator.bringup.steps import BY_CODE, STEPS
from coordinator.codes.survey_word import LinkVerdict
from tests.coordinator.bringup.kit import ELBOW, SAID, facts

GOOD = facts()


@pytest.mark.parametrize("step", STEPS, ids=lambda step: step.code)
def test_each_step_warns_first_and_keeps_its_figures(step: Any) -> None:
    assert len(step.caution) > 40
    found = found_by(step, SAID.get(step.code, Said()), GOOD)
    assert found.figures
    assert (found.picture is not None) == (step.code in ("home", "link", "repeatability"))


@pytest.mark.parametrize("step", [one for one in STEPS if one.answers], ids=lambda step: step.code)
def test_no_answer_and_one_that_is_bad_do_not_let_it_be_done(step: Any) -> None:
    for answer in (None, "yes", *step.answers[step.good :]):
        with pytest.raises(NotSo):
            found_by(step, Said(answer), GOOD)


@pytest.mark.parametrize(
    ("code", "heard", "sentence"),
    [
        ("identified", {"link": "offline", "link_message": "it is silent"}, "not linked: it is"),
        ("configured", {"configuration_message": "no ramp"}, "does not take its figures: no ramp"),
        ("configured", {"measured": False}, "linked only just now"),
        ("sensors", {"plausible": False}, "cannot be believed"),
        ("sensors", {"temperature_c": None}, "cannot be believed"),
        ("sensors", {"temperature_c": 51.0}, "has 51.0 °C, and is warned of above 50 °C"),
        ("sensors", {"supply_v": 17.0}, "has 17.00 V, below its supply_limit_v of 18 V"),
        ("sensors", {"faults": ("supply-low",)}, "has a fault: supply-low"),
        ("direction", {"energised": False}, "the motor of elbow is off"),
        ("home", {"homed": False}, "is not homed"),
        ("home", {"homing": None}, "is not homed"),
        ("home", {"wandered_deg": 0.2}, "wandered by +0.2°"),
        ("range", {"homed": False}, "is not homed"),
        ("link", {"survey": None}, "no survey of elbow's link is done"),
    ],
)
def test_what_is_not_so_is_told(code: str, heard: dict[str, Any], sentence: str) -> None:
    with pytest.raises(NotSo, match=sentence.replace("+", r"\+")):
        found_by(BY_CODE[code], SAID.get(code, Said()), facts(**heard))


def test_a_homing_by_another_controller_or_other_figures_is_not_this_ones() -> None:
    for joint in (replace(ELBOW, gear_ratio=15.0), replace(ELBOW, home_deg=-120.0)):
        known = replace(GOOD, joint=joint)  # what it found stays that of before
        with pytest.raises(NotSo, match="by another controller or other figures"):
            found_by(BY_CODE["home"], Said(), known)
    other = replace(GOOD, homing={**(GOOD.homing or {}), "controller": "0" * 12})
    with pytest.raises(NotSo, match="by another controller"):
        found_by(BY_CODE["home"], Said(), other)


@pytest.mark.parametrize(
    ("measured", "sentence"),
    [
        # The arm file says 20, the joint has 15: as many turns of the motor turn it by 4/3 of that.
        (120.0, "that is a gear_ratio of 15"),
        (-90.0, "it turned the other way"),
        (85.0, "that is a gear_ratio of 21.18"),
    ],
)
def test_another_gear_ratio_is_found_by_a_measured_turn(measured: float, sentence: str) -> None:
    with pytest.raises(NotSo, match=sentence):
        found_by(BY_CODE["travel"], Said(None, 90.0, measured), GOOD)


@pytest.mark.parametrize("said", [Said(), Said(None, 90.0), Said(None, 10.0, 10.0)])
def test_a_turn_that_tells_no_gear_is_refused(said: Said) -> None:
    with pytest.raises(NotSo):
        found_by(BY_CODE["travel"], said, GOOD)


def test_a_poor_link_and_a_home_that_scatters_are_not_passed() -> None:
    assert GOOD.survey is not None
    poor = replace(GOOD, survey=replace(GOOD.survey, verdict=LinkVerdict.POOR))
    with pytest.raises(NotSo, match="survey it again"):
        found_by(BY_CODE["link"], Said(), poor)
    loose = replace(GOOD.homings.rising_deviation_deg, value=0.5)
    homings = replace(GOOD.homings, rising_deviation_deg=loose)
    with pytest.raises(NotSo, match=r"scatters by 0\.5°"):
        found_by(BY_CODE["repeatability"], Said(), replace(GOOD, homings=homings))
    few = replace(loose, value=None, why="2 homings, and it takes 5")
    homings = replace(GOOD.homings, rising_deviation_deg=few)
    with pytest.raises(NotSo, match="2 homings, and it takes 5"):
        found_by(BY_CODE["repeatability"], Said(), replace(GOOD, homings=homings))
