"""The highest temperatures of a rehearsal: which are known, and what is said of them."""

from dataclasses import replace

import pytest

from coordinator.api.responses.arm import ARM
from coordinator.codes.link_word import LinkWord
from coordinator.core.snapshot.joint import JointSnapshot
from coordinator.health.heat_peak import peak_c
from coordinator.health.heat_report import NOT_YET, SILENT, Estimate
from coordinator.rehearsal.expected_heat import heat_sentence, peaks_c, rest_needed, too_warm
from tests.coordinator.core.kit import small_arm

JOINTS = small_arm().joints
TIP = replace(ARM.joints[0], name="tip", fan_percent=0)


def test_a_joint_that_is_heard_has_the_peak_of_what_was_fitted_to_it() -> None:
    assert TIP.heat is not None
    assert TIP.temperature_c is not None
    found = peaks_c(JOINTS, [TIP], 1200.0)
    expected = peak_c(TIP.temperature_c, TIP.heat, 1200.0, fan_runs=False)
    assert expected is not None
    assert found == {"base": None, "middle": None, "tip": expected}
    longer = peaks_c(JOINTS, [TIP], 2400.0)["tip"]  # twice as many loops
    assert longer is not None
    assert longer.value > expected.value


@pytest.mark.parametrize(
    "told",
    [
        replace(TIP, link=LinkWord.OFFLINE),
        replace(TIP, temperature_c=None),
        replace(TIP, heat=None),
        replace(TIP, fan_percent=40, temperature_c=38.0),
        replace(TIP, name="another"),
    ],
)
def test_where_something_is_missing_no_temperature_is_known(told: JointSnapshot) -> None:
    assert peaks_c(JOINTS, [told], 1200.0) == {"base": None, "middle": None, "tip": None}


def test_the_sentence_names_the_joint_nearest_to_its_limit_and_which_are_not_known() -> None:
    peaks = {"base": Estimate(50.0, 48.0, 52.04), "middle": None, "tip": Estimate(40.0, 39.0, 41.0)}
    assert heat_sentence(peaks, JOINTS, []) == (
        "highest temperature: base 50.0 °C (48.0 to 52.0), middle not known, tip 40.0 °C (39.0 to "
        "41.0); of those known base is nearest to where it stops, 58 °C; by one body of heat each, "
        "as fitted, as warm as before these rehearsals, its fan as it was, without a break"
    )
    assert heat_sentence({joint.name: None for joint in JOINTS}, JOINTS, []) == (
        "highest temperature: not known; that takes an arm that is served, whose joints were "
        "watched resting and moving"
    )


def test_of_an_arm_that_is_served_each_joint_has_its_own_reason() -> None:
    assert TIP.heat is not None
    middle = replace(TIP, name="middle", heat=NOT_YET)
    base = replace(middle, name="base")
    fan = replace(TIP, fan_percent=40, temperature_c=38.0)
    why = "its temperature must be watched for three minutes first"
    peaks = {joint.name: None for joint in JOINTS}
    assert heat_sentence(peaks, JOINTS, [base, middle, fan]) == (
        f"highest temperature: not known (base, middle: {why}; tip: its fan runs and may go off)"
    )
    some = {**peaks, "tip": Estimate(40.0, 39.0, 41.0)}
    said = heat_sentence(some, JOINTS, [base, replace(middle, link=LinkWord.OFFLINE), TIP])
    assert said.endswith(f"; not known: base: {why}; middle: its link is offline")


@pytest.mark.parametrize(
    ("told", "why"),
    [
        (replace(TIP, temperature_c=None), "it tells no temperature"),
        (replace(TIP, heat=None), "nothing was fitted to its temperature"),
        (replace(TIP, heat=SILENT), SILENT.why_not),
        (None, "its coordinator does not tell of it"),
    ],
)
def test_every_reason_for_no_temperature_has_words(told: JointSnapshot | None, why: str) -> None:
    others = [replace(TIP, name=name) for name in ("base", "middle")]
    peaks = {"base": Estimate(40.0, 39.0, 41.0), "middle": Estimate(40.0, 39.0, 41.0), "tip": None}
    told_of = [*others, told] if told is not None else others
    assert heat_sentence(peaks, JOINTS, told_of).endswith(f"; not known: tip: {why}")


@pytest.mark.parametrize(
    ("tip", "words"),
    [
        (Estimate(56.0, 53.0, 57.9), "tip is nearest to"),
        (Estimate(56.0, 53.0, 58.0), "tip may get to"),
        (Estimate(58.0, 53.0, 62.0), "tip is likely to get to"),
        (Estimate(66.0, 58.0, 74.0), "tip gets to"),
    ],
)
def test_the_sentence_says_how_sure_it_is_that_a_joint_gets_to_its_limit(
    tip: Estimate, words: str
) -> None:
    peaks = {"base": Estimate(40.0, 39.0, 41.0), "middle": None, "tip": tip}
    said = heat_sentence(peaks, JOINTS, [])
    assert f"of those known {words} where it stops, 58 °C" in said
    assert ("no rest" in said) == (words != "tip is nearest to")


def test_how_much_rest_keeps_a_joint_below_is_told_where_it_is_known() -> None:
    assert TIP.heat is not None
    tip = next(joint for joint in JOINTS if joint.name == "tip")
    known = replace(TIP, heat=replace(TIP.heat, run_rest_share=0.35))
    assert rest_needed(tip, [known]) == (
        "resting 35% of the time, in turns of a few minutes with its motor held, keeps tip below"
    )
    unknown = "no rest with its motor held is known to keep tip below"
    none = replace(TIP, heat=replace(TIP.heat, run_rest_share=None))
    assert [rest_needed(tip, told) for told in ([], [none], [replace(TIP, heat=None)])] == (
        [unknown] * 3
    )


def test_joints_that_are_likely_to_get_to_their_limit_are_too_warm() -> None:
    peaks = {
        "base": Estimate(58.0, 57.0, 59.0),
        "middle": None,
        "tip": Estimate(57.9, 57.0, 59.0),
    }
    assert [joint.name for joint in too_warm(peaks, JOINTS)] == ["base"]


def test_a_joint_that_surely_gets_there_is_told_before_one_that_may_get_further() -> None:
    peaks = {"base": Estimate(57.0, 40.0, 80.0), "middle": None, "tip": Estimate(60.0, 58.5, 61.0)}
    assert "of those known tip gets to where it stops" in heat_sentence(peaks, JOINTS, [])
