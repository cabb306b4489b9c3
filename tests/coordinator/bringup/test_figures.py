"""What keeps a step from being done, and what is kept of one that is."""

from dataclasses import replace
from typing import Any

import pytest

from coordinator.bringup.facts import Against, NotSo, Said, WrongSaid
from coordinator.bringup.figures import found_by
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
    for answer in (None, "yes"):
        with pytest.raises(WrongSaid, match="say one of '"):
            found_by(step, Said(answer), GOOD)
    for answer in step.bad_answers:
        with pytest.raises(Against, match=answer):
            found_by(step, Said(answer), GOOD)


@pytest.mark.parametrize("step", STEPS, ids=lambda step: step.code)
def test_what_a_step_does_not_ask_for_is_not_passed_over(step: Any) -> None:
    good = SAID.get(step.code, Said())
    wrong = [] if step.measures else [replace(good, commanded_deg=90.0)]
    wrong += [] if step.answers else [replace(good, answer="light")]
    assert wrong
    for said in wrong:
        with pytest.raises(WrongSaid, match=step.code):
            found_by(step, said, GOOD)


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
        # What was found before it was configured is of another firmware, body or figure.
        ("link", {"survey_ended_us": 1_000_000}, "survey of elbow's link is of before it was conf"),
        ("home", {"behind": 15}, "is of before it was configured"),
        ("home", {"behind": 16}, "or before motor, gear, housing or magnets were changed"),
    ],
)
def test_what_is_not_so_is_told(code: str, heard: dict[str, Any], sentence: str) -> None:
    with pytest.raises(NotSo, match=sentence.replace("+", r"\+")):
        found_by(BY_CODE[code], SAID.get(code, Said()), facts(**heard))


def test_a_home_that_wandered_is_measured() -> None:
    with pytest.raises(Against, match=r"wandered by \+0\.2°") as against:
        found_by(BY_CODE["home"], Said(), facts(wandered_deg=0.2))
    assert (against.value.figures["homing"], against.value.figures["wandered_deg"]) == (15, 0.2)


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
        (0.0, "turned by 0°: it did not turn. Look at its motor, its supply and run_current_a"),
        (85.0, "that is a gear_ratio of 21.18"),
    ],
)
def test_another_gear_ratio_is_found_by_a_measured_turn(measured: float, sentence: str) -> None:
    with pytest.raises(Against, match=sentence) as against:
        found_by(BY_CODE["travel"], Said(None, 90.0, measured), GOOD)
    figures = against.value.figures
    assert (figures["commanded_deg"], figures["measured_deg"]) == (90.0, measured)
    assert figures["not_so"] == str(against.value)


@pytest.mark.parametrize("said", [Said(), Said(None, 90.0), Said(None, 10.0, 10.0)])
def test_a_turn_that_tells_no_gear_is_refused(said: Said) -> None:
    with pytest.raises(WrongSaid):
        found_by(BY_CODE["travel"], said, GOOD)


def test_a_poor_link_and_a_home_that_scatters_are_not_passed() -> None:
    assert GOOD.survey is not None
    poor = replace(GOOD, survey=replace(GOOD.survey, verdict=LinkVerdict.POOR))
    with pytest.raises(Against, match="survey it again") as against:
        found_by(BY_CODE["link"], Said(), poor)
    assert against.value.figures["verdict"] == "poor"
    loose = replace(GOOD.homings.rising_deviation_deg, value=0.5)
    homings = replace(GOOD.homings, rising_deviation_deg=loose)
    with pytest.raises(Against, match=r"scatters by 0\.5°"):
        found_by(BY_CODE["repeatability"], Said(), replace(GOOD, homings=homings))
    few = replace(loose, value=None, why="2 homings, and it takes 5")
    homings = replace(GOOD.homings, rising_deviation_deg=few)
    with pytest.raises(NotSo, match="2 homings, and it takes 5") as lacks:
        found_by(BY_CODE["repeatability"], Said(), replace(GOOD, homings=homings))
    assert not isinstance(lacks.value, Against), "nothing was measured"


@pytest.mark.parametrize(
    ("touched", "sentence"),
    [
        (None, "nobody used elbow's own control in the last minute"),
        ("wrist", "the control that was used last is wrist's, not elbow's"),
    ],
)
def test_a_touch_that_was_not_felt_by_this_joint_does_not_identify_it(
    touched: str | None, sentence: str
) -> None:
    step = BY_CODE["identified"]
    with pytest.raises(NotSo, match=sentence) as told:
        found_by(step, Said("touch"), replace(GOOD, touched=touched))
    assert isinstance(told.value, Against) == (touched is not None)
    assert found_by(step, Said("touch"), replace(GOOD, touched="elbow")).figures["id"] == ELBOW.id
    deaf = replace(GOOD, joint=replace(ELBOW, touch=False))
    with pytest.raises(NotSo, match="has touch = false in the arm file"):
        found_by(step, Said("touch"), deaf)
    # Who saw its light did not need to touch it.
    assert found_by(step, Said("light"), replace(GOOD, touched=touched)).figures


@pytest.mark.parametrize(("ratio", "seen"), [(15.0, 2.25), (20.0, 3.0), (19.2, 2.88)])
def test_a_body_that_was_said_to_have_stayed_is_held_to_the_width_of_its_home_sensor(
    ratio: float, seen: float
) -> None:
    """By the figures of the arm file, a gear of 15 in place of 20 shows three quarters of it."""
    edges = [{"fast": False, "from_middle_deg": at} for at in (seen / 2, -seen / 2)]
    assert GOOD.homing is not None
    known = replace(GOOD, homing={**GOOD.homing, "edges": edges}, width_before_deg=3.0)
    if abs(ratio / 20.0 - 1.0) < 0.05:  # as little as a travel's measure would find too
        assert found_by(BY_CODE["home"], Said(), known).figures["sensor_width_deg"] == seen
        return
    with pytest.raises(Against, match="or a gear_ratio of 15 where the arm file has 20") as refused:
        found_by(BY_CODE["home"], Said(), known)
    assert "say other-body" in str(refused.value)
    # One that is not known now watches over nothing.
    for few in ([], edges[:1], [edges[0], {**edges[1], "fast": True}]):
        with pytest.raises(NotSo, match="not known of its newest homing, and was 3°") as lacks:
            found_by(BY_CODE["home"], Said(), replace(known, homing={**GOOD.homing, "edges": few}))
        assert not isinstance(lacks.value, Against), "nothing was measured"
    # Nothing is known of the body before: the travel is measured anyway.
    assert found_by(BY_CODE["home"], Said(), replace(known, width_before_deg=None)).figures
