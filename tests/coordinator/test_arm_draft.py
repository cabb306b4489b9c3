"""A begun arm file: refused by the line of each value that nobody can know, and by no other."""

import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coordinator.config.arm import MAX_JOINTS, load_arm, parse_arm
from coordinator.config.arm_draft import CHECK, FILL_IN, FoundJoint, arm_draft, to_fill_in

PATH = Path("arm.toml")
IDS = st.lists(
    st.integers(0, 16**12 - 1).map("{:012x}".format), min_size=1, max_size=MAX_JOINTS, unique=True
)
NAMES = st.text(max_size=40) | st.sampled_from(["elbow", "joint1", "joint2", "a-b", "park"])
FILLED = {
    "gear_ratio": "20",
    "direction": "-1",
    "range_deg": "[-90, 90]",
    "home_deg": "80",
    "homing.direction": "1",
    "homing.travel_deg": "180",
    "run_current_a": "1.2",
    "hold_current_a": "0.6",
}


@st.composite
def found(draw: st.DrawFn) -> list[FoundJoint]:
    ids = draw(IDS)
    return [FoundJoint(one, draw(st.text(max_size=80)), draw(NAMES)) for one in ids]


def filled_in(text: str) -> str:
    """What its owner does with it."""
    lines = []
    for line in text.splitlines():
        key = line.partition(" ")[0]
        if line.startswith("park = "):
            line = line.replace("nan", "0")
        elif FILL_IN in line and key in FILLED:
            line = f"{key} = {FILLED[key]}"
        lines.append(line)
    return "\n".join(lines) + "\n"


@given(found())
def test_each_line_to_be_filled_in_is_named_and_no_other_one(joints: list[FoundJoint]) -> None:
    text = arm_draft(joints)
    marked = {
        number
        for number, line in enumerate(text.splitlines(), 1)
        if FILL_IN in line and not line.startswith("#")
    }
    assert {mistake.line for mistake in to_fill_in(text, PATH)} == marked
    assert len(marked) == 1 + 8 * len(joints)


@given(found())
def test_filled_in_it_is_an_arm_of_those_joints_and_cautious(joints: list[FoundJoint]) -> None:
    arm = parse_arm(filled_in(arm_draft(joints)), PATH)
    assert to_fill_in(arm.text, PATH) == ()
    assert [joint.id for joint in arm.joints] == [one.id for one in joints]
    assert arm.remarks == ()
    assert max(joint.velocity_deg_s for joint in arm.joints) <= 10.0
    assert all(joint.holds_load for joint in arm.joints)
    assert max(joint.temperature_limit_c for joint in arm.joints) <= 55.0  # PLA less 4 °C
    names = {one.name for one in joints if re.fullmatch("[A-Za-z][A-Za-z0-9_-]{0,31}", one.name)}
    assert names <= {joint.name for joint in arm.joints}


@given(st.text(max_size=200))
def test_what_a_stranger_says_of_itself_stays_within_its_comment(told: str) -> None:
    quiet = arm_draft([FoundJoint("0" * 12, "", "")]).splitlines()
    loud = arm_draft([FoundJoint("0" * 12, told, "")]).splitlines()
    changed = [b for a, b in zip(quiet, loud, strict=True) if a != b]
    assert all(line.startswith("# ") and line.isascii() and len(line) <= 60 for line in changed)


def test_no_joint_too_many_and_two_of_one_id_make_no_arm() -> None:
    with pytest.raises(ValueError, match="0 joints"):
        arm_draft([])
    many = [FoundJoint(f"{k:012x}", "", "") for k in range(MAX_JOINTS + 1)]
    with pytest.raises(ValueError, match="13 joints, but an arm has 1 to 12"):
        arm_draft(many)
    with pytest.raises(ValueError, match="one id"):
        arm_draft([many[0], many[0]])


def test_a_value_that_is_taken_as_it_is_says_that_it_is_to_be_checked(tmp_path: Path) -> None:
    file = tmp_path / "arm.toml"
    file.write_text(filled_in(arm_draft([FoundJoint("0" * 12, "", "elbow")])), encoding="utf-8")
    assert load_arm(file).joints[0].name == "elbow"
    begin = file.read_text("utf-8").index("[[joints]]")
    for line in file.read_text("utf-8")[begin:].splitlines()[1:]:
        key = line.partition(" ")[0]
        assert CHECK in line or key in {*FILLED, "#", "id", ""} or line.startswith("jerk"), line
