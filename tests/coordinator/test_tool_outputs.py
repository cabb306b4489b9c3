"""`[[tool_outputs]]` of an arm file: waits for inputs, what outputs do by themselves, mistakes."""

from pathlib import Path

import pytest

from coordinator.config.arm import ArmFileError, ToolOutput, Wait, load_arm, parse_arm
from coordinator.core.configure import arm_ramp, configuration_of
from coordinator.rehearsal.software_joints import joint_settings

PATH = Path(__file__).parents[2] / "coordinator" / "demo" / "arm.toml"
TEXT = PATH.read_text(encoding="utf-8")
WAIT = 'wait_on = { input = "seedling_held", is = true, within_s = 2 }'


def mistakes(old: str, new: str) -> list[str]:
    assert TEXT.count(old) == 1
    with pytest.raises(ArmFileError) as caught:
        parse_arm(TEXT.replace(old, new), Path("arm.toml"))
    return list(caught.value.sentences)


def test_the_demo_gripper_waits_for_its_input_and_keeps_what_it_holds() -> None:
    (output,) = load_arm(PATH).tool_outputs
    wait = Wait("seedling_held", "tool", 0, level=True, within_s=2.0)
    assert output == ToolOutput("gripper", "tool", 0, "M3", "M5", wait_on=wait)
    assert (output.off_on_hold, output.off_on_stop, output.off_on_lost) == (False, False, False)


def test_every_output_is_kept_and_nothing_awaited_unless_the_file_says_so() -> None:
    bare = TEXT.replace(WAIT, "").replace('on_hold = "keep"\non_stop = "keep"\n', "")
    bare = bare.replace('on_lost = "keep"\n', "")
    (output,) = parse_arm(bare, PATH).tool_outputs
    assert output == ToolOutput("gripper", "tool", 0, "M3", "M5")


@pytest.mark.parametrize("key", ["on_hold", "on_stop", "on_lost"])
def test_what_goes_off_is_told_to_its_joint_alone(key: str) -> None:
    arm = parse_arm(TEXT.replace(f'{key} = "keep"', f'{key} = "off"'), PATH)
    told = [configuration_of(one, arm_ramp(arm), arm.tool_outputs) for one in arm.joints]
    assert [one.outputs_off is None for one in told] == [True] * 5 + [False]
    off = told[-1].outputs_off
    assert off is not None
    assert off.model_dump() == {one: int(one == key) for one in ("on_hold", "on_stop", "on_lost")}


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('"seedling_held", is', '"tray", is', "input is tray, which no joint has"),
        (", within_s = 2", "", "lacks within_s"),
        ("within_s = 2", "within_s = 0", "within_s is 0, but must be above 0 and at most 60 s"),
        ("within_s = 2", "within_s = 61", "within_s is 61, but must be above 0 and at most 60 s"),
        ("is = true", "is = 1", "is is 1, but must be true or false"),
        ("is = true, ", "", "lacks is"),
        ("within_s = 2 }", "within_s = 2, at = 3 }", "has an unknown key at"),
    ],
)
def test_a_mistake_in_a_wait_is_named_with_its_line(old: str, new: str, said: str) -> None:
    line = TEXT[: TEXT.index(WAIT)].count("\n") + 1
    (sentence,) = mistakes(old, new)
    assert sentence.startswith(f"arm.toml:{line}: tool output 1: wait_on: {said}")


def test_a_wait_that_is_no_table_and_a_word_that_is_none_are_named() -> None:
    (sentence,) = mistakes(WAIT, "wait_on = 2")
    assert sentence.endswith("tool output 1: wait_on: must be a table of keys and values")
    (sentence,) = mistakes('on_lost = "keep"', 'on_lost = "open"')
    assert sentence.endswith('tool output 1: on_lost is "open", but must be keep or off')


def test_a_joint_has_at_most_eight_inputs() -> None:
    many = ", ".join(f'"i{k}"' for k in range(8))
    (sentence,) = mistakes('inputs = ["seedling_held"]', f'inputs = ["seedling_held", {many}]')
    assert sentence.endswith("joint tool: has 9 inputs, but can have 8")


def test_the_input_of_a_software_joint_follows_the_output_behind_which_it_is_awaited() -> None:
    settings = joint_settings(load_arm(PATH), 1)
    assert [(one.outputs, one.inputs, one.feedback) for one in settings] == [
        *[(0, 0, ())] * 5,
        (1, 1, ((0, 0),)),
    ]
