"""The arm file: what it gives, and that every mistake is named with its line."""

import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coordinator.config.approach import Approach
from coordinator.config.arm import Arm, ArmFileError, load_arm, parse_arm
from coordinator.config.idle_current import IdleCurrent
from coordinator.config.jog_speeds import USUAL, JogSpeeds
from coordinator.config.touch import USUAL_TOUCH, Touch

DEMO = Path(__file__).parents[2] / "coordinator" / "demo" / "arm.toml"
TEXT = DEMO.read_text(encoding="utf-8")
PATH = Path("arm.toml")
ARM = parse_arm(TEXT, PATH)


def mistakes(text: str) -> tuple[str, ...]:
    with pytest.raises(ArmFileError) as caught:
        parse_arm(text, PATH)
    return caught.value.sentences


def line_of(text: str, joint: str, key: str) -> int:
    """The line on which a joint's key stands, found by searching the text."""
    lines = text.split("\n")
    begin = next(k for k, line in enumerate(lines) if line == f'name = "{joint}"')
    return next(k + 1 for k in range(begin, len(lines)) if lines[k].startswith(key))


def changed(joint: str, key: str, value: str) -> tuple[str, int]:
    """The demo file with one value of one joint replaced, and the line of it."""
    line = line_of(TEXT, joint, key)
    lines = TEXT.split("\n")
    lines[line - 1] = f"{key} = {value}"
    return "\n".join(lines), line


def removed(joint: str, key: str) -> str:
    lines = TEXT.split("\n")
    del lines[line_of(TEXT, joint, key) - 1]
    return "\n".join(lines)


def test_the_demo_arm_has_its_six_joints_from_base_to_tool() -> None:
    arm = load_arm(DEMO)
    assert arm.path == DEMO
    assert [joint.name for joint in arm.joints] == [
        "turntable", "shoulder", "elbow", "forearm", "wrist", "tool",
    ]  # fmt: skip
    assert arm.words == ("A", "B", "C", "D", "E", "U")
    assert [joint.range_deg for joint in arm.joints] == [
        (-170.0, 170.0), (-95.0, 95.0), (-130.0, 130.0), (-180.0, 180.0), (-110.0, 110.0), None,
    ]  # fmt: skip
    assert set(arm.homing_order) == {joint.name for joint in arm.joints}
    assert len(arm.poses["park"]) == 6
    assert arm.joint("elbow") is arm.joints[2]
    with pytest.raises(KeyError):
        arm.joint("knee")


def test_a_tool_output_knows_its_joint_and_bit() -> None:
    (output,) = ARM.tool_outputs
    assert (output.output, output.joint, output.bit) == ("gripper", "tool", 0)
    assert (output.on, output.off) == ("M3", "M5")


def test_counts_of_a_degree_are_256_times_the_published_microsteps() -> None:
    # 200 steps, 1/16, 20:1 → 177.78 microsteps per output degree (computed, facts.md).
    assert ARM.joints[0].counts_per_degree / 256 == pytest.approx(177.78, abs=0.005)
    assert ARM.joints[0].to_counts(360.0) == 200 * 16 * 20 * 256


def test_a_reversed_joint_counts_downwards_and_still_has_its_range_in_order() -> None:
    shoulder = ARM.joint("shoulder")
    assert shoulder.direction == -1
    assert shoulder.to_counts(90.0) == -shoulder.to_counts(-90.0) < 0
    assert shoulder.range_counts == (shoulder.to_counts(95.0), shoulder.to_counts(-95.0))


def test_the_supply_warning_stands_above_the_limit_as_far_as_a_supply_may_fall() -> None:
    # IEC 60204-1 §4.3.3 (from memory): converters hold 0.9 to 1.1 of the nominal voltage. 18 V are
    # nine tenths of 20 V.
    assert ARM.joint("elbow").supply_warning_v == pytest.approx(20.0)
    text, _ = changed("elbow", "supply_limit_v", "18\nsupply_warning_v = 22.8")
    assert [joint.supply_warning_v for joint in parse_arm(text, PATH).joints[1:3]] == [
        pytest.approx(20.0), 22.8,
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("value", "says"),
    [
        ("61", "is 61, but must be 0 to 60 V"),
        ("17.5", "is 17.5, below supply_limit_v 18 V"),
        ("true", "is true, but must be a number"),
    ],
)
def test_a_supply_warning_that_cannot_be_is_one_sentence(value: str, says: str) -> None:
    text, line = changed("elbow", "supply_limit_v", f"18\nsupply_warning_v = {value}")
    assert mistakes(text) == (f"arm.toml:{line + 1}: joint elbow: supply_warning_v {says}",)


def test_an_owner_says_what_a_joint_may_run_into_and_that_a_homing_waits_for_a_hand() -> None:
    assert not ARM.homing_while_held
    assert ARM.joint("wrist").may_collide == ""
    text, _ = changed("wrist", "supply_limit_v", '18\nmay_collide = "the lamp, an open drawer"')
    text = text.replace("homing_while_held = false", "homing_while_held = true")
    arm = parse_arm(text, PATH)
    assert arm.homing_while_held
    assert arm.joint("wrist").may_collide == "the lamp, an open drawer"


@pytest.mark.parametrize("value", ['""', '"a\\nb"', f'"{"x" * 201}"', "4"])
def test_what_a_joint_may_run_into_is_a_line_of_text(value: str) -> None:
    text, line = changed("wrist", "supply_limit_v", f"18\nmay_collide = {value}")
    (told,) = mistakes(text)
    assert told.startswith(f"arm.toml:{line + 1}: joint wrist: may_collide is ")
    assert "1 to 200 printable characters" in told


def test_whether_a_homing_waits_for_a_hand_is_true_or_false() -> None:
    text = TEXT.replace("homing_while_held = false", 'homing_while_held = "yes"')
    (told,) = mistakes(text)
    assert 'homing_while_held is "yes", but must be true or false' in told


def test_home_may_wander_by_half_of_a_full_step_unless_the_file_says_otherwise() -> None:
    # 200 full steps a turn over a gear of 20: 0.09° each.
    assert ARM.joint("elbow").home_shift_limit_deg == pytest.approx(0.045)
    text, _ = changed("elbow", "supply_limit_v", "18\nhome_shift_limit_deg = 0.2")
    assert parse_arm(text, PATH).joint("elbow").home_shift_limit_deg == 0.2


@pytest.mark.parametrize(
    ("value", "says"), [("0", "is 0, but must be above 0"), ("181", "is 181, but must be above 0")]
)
def test_a_limit_of_home_that_cannot_be_is_one_sentence(value: str, says: str) -> None:
    text, line = changed("elbow", "supply_limit_v", f"18\nhome_shift_limit_deg = {value}")
    (told,) = mistakes(text)
    assert told.startswith(f"arm.toml:{line + 1}: joint elbow: home_shift_limit_deg {says}")


# Glass transitions by makers' sheets, as filamentspecs.com cites them: PLA 59 °C, PETG 77 °C, ABS
# about 100 to 105 °C.
@pytest.mark.parametrize(("material", "softens_c"), [("PLA", 59), ("PETG", 77), ("ABS", 100)])
def test_a_joint_s_limit_is_some_degrees_below_where_its_print_goes_soft(
    material: str, softens_c: float
) -> None:
    text, line = changed("elbow", "printed_material", f'"{material}"')
    elbow = parse_arm(text, PATH).joint("elbow")
    assert elbow.printed_material == material
    assert elbow.temperature_limit_c == softens_c - 4
    text, _ = changed("elbow", "printed_material", f'"{material}"\ntemperature_limit_c = 52.5')
    assert parse_arm(text, PATH).joint("elbow").temperature_limit_c == 52.5
    text, _ = changed("elbow", "printed_material", f'"{material}"\ntemperature_limit_c = 110')
    (sentence,) = mistakes(text)
    assert sentence == (
        f"arm.toml:{line + 1}: joint elbow: temperature_limit_c is 110, but must be below the "
        f"{softens_c} °C at which {material} goes soft"
    )


def test_a_limit_may_be_given_without_a_material_and_has_bounds() -> None:
    line = line_of(TEXT, "elbow", "printed_material")
    lines = TEXT.split("\n")
    lines[line - 1] = "temperature_limit_c = 80"
    elbow = parse_arm("\n".join(lines), PATH).joint("elbow")
    assert (elbow.printed_material, elbow.temperature_limit_c) == (None, 80.0)
    lines[line - 1] = "temperature_limit_c = 400"
    (sentence,) = mistakes("\n".join(lines))
    assert sentence.startswith(f"arm.toml:{line}: joint elbow: temperature_limit_c is 400, but")


def test_an_address_is_read_and_left_out_for_joints_that_announce_themselves() -> None:
    text, _ = changed("elbow", "supply_limit_v", '18\naddress = "192.168.4.21:8000"')
    assert [joint.address for joint in parse_arm(text, PATH).joints[1:3]] == [
        None, ("192.168.4.21", 8000),
    ]  # fmt: skip


@pytest.mark.parametrize(
    "value",
    [
        '"192.168.4.21"', '"192.168.4.21:0"', '"192.168.4.21:65536"', '"elbow.local:80"',
        '"192.168.4.256:80"', '":80"', '"192.168.4.21:80:90"', "8000", '"192.168.4.21:+80"',
    ],
)  # fmt: skip
def test_an_address_that_cannot_be_is_one_sentence(value: str) -> None:
    text, line = changed("elbow", "supply_limit_v", f"18\naddress = {value}")
    (sentence,) = mistakes(text)
    assert sentence == (
        f"arm.toml:{line + 1}: joint elbow: address is {value}, but must be an IPv4 address and a "
        'port, as in "192.168.4.21:8000"'
    )


@given(st.integers(0, 5), st.integers(-(10**9), 10**9))
def test_counts_survive_the_way_through_degrees(joint: int, counts: int) -> None:
    chosen = ARM.joints[joint]
    assert chosen.to_counts(chosen.to_degrees(counts)) == counts


@pytest.mark.parametrize(
    ("key", "value", "words"),
    [
        ("id", '"3c71bf4a000"', ["3c71bf4a000", "12 hex digits"]),
        ("id", '"3C71BF4A0003"', ["12 hex digits"]),
        ("id", '"3c71bf4a0001"', ["id 3c71bf4a0001", "turntable"]),
        ("word", '"A"', ["word A", "turntable"]),
        ("word", '"F"', ['"F"', "A B C D E"]),
        ("full_steps", "200.5", ["full_steps", "200.5", "whole number"]),
        ("full_steps", "0", ["full_steps", "0", "4 to 1000"]),
        ("microsteps", "12", ["microsteps", "12", "power of two"]),
        ("gear_ratio", "0", ["gear_ratio", "0.1 to 1000"]),
        ("direction", "0", ["direction", "0", "1 or -1"]),
        ("range_deg", "[130, -130]", ["130 to -130"]),
        ("range_deg", "[-130, 4000]", ["4000", "3600"]),
        ("range_deg", f"[{'9' * 400}, 130]", ["999", "3600"]),
        ("range_deg", "[nan, 130]", ["nan", "3600"]),
        ("range_deg", "[0, 0.05]", ["0 to 0.05", "0.1"]),
        ("acceleration_deg_s2", "5", ["acceleration_deg_s2", "5", "12 s", "10 s"]),
        ("range_deg", '"endless"', ["endless", "continuous"]),
        ("range_deg", "[-130, true]", ["range_deg"]),
        ("velocity_deg_s", "5000", ["velocity_deg_s", "5000", "1000 °/s"]),
        ("velocity_deg_s", '"60"', ["velocity_deg_s", "number"]),
        ("velocity_deg_s", "nan", ["velocity_deg_s", "nan"]),
        ("acceleration_deg_s2", "0", ["acceleration_deg_s2", "0", "°/s²"]),
        ("jerk_deg_s3", "-600", ["jerk_deg_s3", "-600", "°/s³"]),
        ("home_deg", "131", ["home_deg", "131", "-130 to 130°"]),
        ("homing", "3", ["homing", "table"]),
        ("temperature_warning_c", "58", ["temperature_warning_c", "58", "temperature_limit_c"]),
        ("printed_material", '"wood"', ["printed_material", "wood", "PLA PETG ABS"]),
        ("supply_limit_v", "-1", ["supply_limit_v", "-1", "60 V"]),
        ("run_current_a", "0", ["run_current_a", "0", "10 A"]),
        ("hold_current_a", "2", ["hold_current_a", "2", "run_current_a", "1.4"]),
        ("hop_resistance_ohm", "50", ["hop_resistance_ohm", "50", "Ω"]),
        (
            "homing",
            "{ direction = 2, travel_deg = 9, fast_deg_s = 2, slow_deg_s = 1, backoff_deg = 1 }",
            ["homing", "direction", "2", "1 or -1"],
        ),
        (
            "homing",
            "{ direction = 1, travel_deg = 9, fast_deg_s = 2, slow_deg_s = 3, backoff_deg = 1 }",
            ["slow_deg_s", "3", "fast_deg_s", "2"],
        ),
        (
            "homing",
            "{ direction = 1, travel_deg = 9, fast_deg_s = 70, slow_deg_s = 3, backoff_deg = 1 }",
            ["fast_deg_s", "70", "velocity_deg_s", "60"],
        ),
        (
            "homing",
            "{ direction = 1, travel_deg = 9, fast_deg_s = 2, slow_deg_s = 1, backoff_deg = 9 }",
            ["backoff_deg", "9", "travel_deg"],
        ),
        (
            "homing",
            "{ direction=1, travel_deg=9, fast_rpm=2, fast_deg_s=2, slow_deg_s=1, backoff_deg=1 }",
            ["fast_rpm", "fast_deg_s"],
        ),
    ],
)
def test_one_wrong_value_is_one_sentence_with_line_joint_limit_and_value(
    key: str, value: str, words: list[str]
) -> None:
    text, line = changed("elbow", key, value)
    (sentence,) = mistakes(text)
    assert sentence.startswith(f"arm.toml:{line}: joint elbow: ")
    for word in words:
        assert word in sentence


def test_a_key_in_another_unit_is_unknown_and_the_right_one_is_missed() -> None:
    line = line_of(TEXT, "elbow", "velocity_deg_s")
    lines = TEXT.split("\n")
    lines[line - 1] = "velocity_rpm = 10"
    found = mistakes("\n".join(lines))
    assert f"arm.toml:{line}: joint elbow: has an unknown key velocity_rpm; the nearest" in found[1]
    table_line = line_of(TEXT, "elbow", "name") - 1
    assert found[0] == f"arm.toml:{table_line}: joint elbow: lacks velocity_deg_s"
    assert len(found) == 2


def test_a_jerk_that_lets_acceleration_build_up_for_too_long_is_refused() -> None:
    # min(a/j, √(v/j)) (computed, as in facts.md): v 500, a 100, j 4 → min(25, 11.18) s.
    text, _ = changed("tool", "velocity_deg_s", "500")
    lines = text.split("\n")
    lines[line_of(text, "tool", "acceleration_deg_s2") - 1] = "acceleration_deg_s2 = 100"
    at = line_of(text, "tool", "jerk_deg_s3") - 1
    lines[at] = "jerk_deg_s3 = 4"
    (sentence,) = mistakes("\n".join(lines))
    assert sentence.startswith(f"arm.toml:{at + 1}: joint tool: jerk_deg_s3 is 4, with which")
    assert "takes 11.2 s" in sentence
    lines[at] = "jerk_deg_s3 = 5.1"
    parse_arm("\n".join(lines), PATH)


def test_a_velocity_that_needs_too_many_steps_a_second_is_refused() -> None:
    # The driver takes 250 kHz (TI SLVSA73): 177.78 · 16 microsteps per degree · 100 °/s > 250 kHz.
    text, _ = changed("elbow", "microsteps", "256")
    lines = text.split("\n")
    line = line_of(text, "elbow", "velocity_deg_s")
    lines[line - 1] = "velocity_deg_s = 100"
    (sentence,) = mistakes("\n".join(lines))
    assert sentence.startswith(f"arm.toml:{line}: joint elbow: velocity_deg_s is 100")
    assert "284444" in sentence
    assert "250000" in sentence


def test_motor_at_the_published_corner_of_step_rate_is_accepted() -> None:
    # 250 kHz at 1/16 = 4687.5 rpm of the motor (computed, facts.md): 28125 °/s, at 100:1 281.25.
    text, _ = changed("tool", "gear_ratio", "100")
    lines = text.split("\n")
    at = line_of(text, "tool", "velocity_deg_s") - 1
    lines[at] = "velocity_deg_s = 281.25"
    assert parse_arm("\n".join(lines), PATH).joints[5].velocity_deg_s == 281.25
    lines[at] = "velocity_deg_s = 281.26"
    assert len(mistakes("\n".join(lines))) == 1


def test_all_mistakes_are_reported_in_the_order_of_the_file() -> None:
    text, first = changed("turntable", "jerk_deg_s3", "0")
    lines = text.split("\n")
    second = line_of(text, "wrist", "direction")
    lines[second - 1] = "direction = 3"
    third = line_of(text, "tool", "hop_resistance_ohm")
    lines[third - 1] = 'hop_resistance_ohm = "little"'
    found = mistakes("\n".join(lines))
    assert [sentence.split(":")[1] for sentence in found] == [str(first), str(second), str(third)]


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("elbow = 110,", "elbow = 131,", ["pose park", "elbow", "131", "-130 to 130°"]),
        ("elbow = 110,", "", ["pose park", "lacks elbow"]),
        ("elbow = 110,", "elbow = 110, knee = 1,", ["pose park", "knee"]),
        ("park = {", "rest = {", ["poses", "lacks park"]),
        ('"elbow", "shoulder"', '"shoulder"', ["homing_order", "lacks elbow"]),
        ('"elbow", "shoulder"', '"elbow", "elbow", "shoulder"', ["homing_order", "elbow twice"]),
        ('"elbow", "shoulder"', '"elbow", "knee", "shoulder"', ["homing_order", "knee"]),
        ('output = "gripper"', 'output = "pump"', ["tool output 1", "pump", "no joint"]),
        ('on = "M3"', 'on = "M8"', ["M8/M5", "M3/M5 or M8/M9"]),
        ('on = "M3"', "on = 3", ["on is 3"]),
        ('name = "bench arm"', 'name = "bench arm"\nhost = "x"', ["unknown key host"]),
        ('name = "wrist"', 'name = "elbow"', ["joint elbow", "name elbow", "number 3"]),
        ('name = "bench arm"', "name = 7", ["name is 7"]),
    ],
)
def test_a_mistake_about_the_whole_arm_is_named(old: str, new: str, words: list[str]) -> None:
    assert TEXT.count(old) == 1
    found = mistakes(TEXT.replace(old, new))
    assert re.match(r"arm\.toml:\d+: ", found[0])
    assert any(all(word in sentence for word in words) for sentence in found)


def test_the_supply_of_software_joints_is_24_v_unless_the_arm_says_otherwise() -> None:
    assert ARM.source_v == 24.0
    without = TEXT.replace("source_v = 24", "# no supply")
    assert parse_arm(without, PATH).source_v == 24.0
    assert parse_arm(TEXT.replace("source_v = 24", "source_v = 47.5"), PATH).source_v == 47.5


@pytest.mark.parametrize("value", ["4.99", "60.1", "-24", "nan", '"24"', "true"])
def test_a_supply_out_of_bounds_is_named_with_its_limits_and_its_line(value: str) -> None:
    lines = TEXT.split("\n")
    at = next(k for k, line in enumerate(lines) if line.startswith("source_v = "))
    lines[at] = f"source_v = {value}"
    (sentence,) = mistakes("\n".join(lines))
    must = "a number" if value in ('"24"', "true") else "5 to 60 V"
    assert sentence == f"arm.toml:{at + 1}: source_v is {value}, but must be {must}"
    for end in ("5", "60"):
        lines[at] = f"source_v = {end}"
        assert parse_arm("\n".join(lines), PATH).source_v == float(end)


def test_a_tolerance_for_blending_may_be_given_above_0_and_up_to_45_degrees() -> None:
    key = "blend_tolerance_deg"
    assert ARM.blend_tolerance_deg == 1.0
    lines = TEXT.split("\n")
    at = next(k for k, line in enumerate(lines) if line.startswith(key))
    lines[at] = ""
    assert parse_arm("\n".join(lines), PATH).blend_tolerance_deg == 1.0
    for value in ("0.001", "45"):
        lines[at] = f"{key} = {value}"
        assert parse_arm("\n".join(lines), PATH).blend_tolerance_deg == float(value)
    for value in ("0", "-1", "45.1", "nan", "true"):
        lines[at] = f"{key} = {value}"
        (sentence,) = mistakes("\n".join(lines))
        must = "a number" if value == "true" else "above 0 and at most 45 °"
        assert sentence == f"arm.toml:{at + 1}: {key} is {value}, but must be {must}"


def test_letters_lead_to_the_names_of_joints_base_to_tool() -> None:
    assert list(ARM.letters) == list(ARM.words)
    assert ARM.letters["C"] == "elbow"


def test_a_supply_below_what_a_joint_needs_is_remarked_on_with_the_joints_line() -> None:
    text, line = changed("elbow", "supply_limit_v", "36")
    (remark,) = parse_arm(text, PATH).remarks
    assert remark == (
        f"arm.toml:{line}: joint elbow: supply_limit_v is 36, above source_v 24 V: "
        "as a software joint it faults at once"
    )
    assert parse_arm(text.replace("source_v = 24", "source_v = 36"), PATH).remarks == ()


def test_an_output_has_one_carrier_and_one_pair_of_words() -> None:
    twice = TEXT.replace(
        "# Joints from base", '[[tool_outputs]]\noutput = "gripper"\non = "M3"\noff = "M5"\n# J'
    )
    found = mistakes(twice)
    assert "output gripper has words already" in found[0]
    assert "M3/M5 switch gripper already" in found[1]


def test_a_missing_key_is_named_with_the_line_of_its_joint() -> None:
    table_line = line_of(TEXT, "wrist", "name") - 1
    (sentence,) = mistakes(removed("wrist", "printed_material"))
    assert sentence == f"arm.toml:{table_line}: joint wrist: lacks temperature_limit_c"


def test_words_default_from_base_to_tool() -> None:
    text = "\n".join(line for line in TEXT.split("\n") if not line.startswith("word = "))
    assert parse_arm(text, PATH).words == ("A", "B", "C", "D", "E", "U")


def stacked(count: int, *, words: bool) -> str:
    """An arm of like joints, written out."""
    begin = TEXT.index("[[joints]]")
    joint = TEXT[begin : TEXT.index("[[joints]]", begin + 1)]
    names = [f"j{k}" for k in range(count)]
    angles = ", ".join(f"{name} = 0" for name in names)
    text = f'name = "stack"\nhoming_order = {names}\nposes.park = {{ {angles} }}\n'.replace(
        "'", '"'
    )
    letters = "ABCDEUVWXYZHI"
    for k, name in enumerate(names):
        row = joint.replace("turntable", name).replace("3c71bf4a0001", f"{k:012x}")
        text += row.replace('word = "A"', f'word = "{letters[k]}"' if words else "")
    return text


def test_an_arm_has_one_to_twelve_joints() -> None:
    assert len(parse_arm(stacked(1, words=True), PATH).joints) == 1
    assert len(parse_arm(stacked(12, words=True), PATH).joints) == 12
    assert "has 13 joints, but must have 1 to 12" in mistakes(stacked(13, words=True))[0]
    assert "has 0 joints" in mistakes('name="n"\nhoming_order=[]\njoints=[]\n[poses.park]\n')[0]


def test_default_words_reach_for_eight_joints() -> None:
    assert parse_arm(stacked(8, words=False), PATH).words == tuple("ABCDEUVW")
    (sentence,) = mistakes(stacked(9, words=False))
    assert "joint j8: needs a word: A B C D E U V W" in sentence


@pytest.mark.parametrize(
    ("text", "line"),
    [
        changed("forearm", "gear_ratio", "20.0.0"),
        changed("wrist", "full_steps", "200 200"),
        (f"{TEXT}inputs = []\n", TEXT.count("\n") + 1),
        ("name = \n", 1),
        ('a = 1\nb = """\nx', 3),
        (f"name = 'n'\nx = {'[' * 5000}", 2),
    ],
)
def test_a_syntax_error_carries_its_line(text: str, line: int) -> None:
    (sentence,) = mistakes(text)
    assert sentence.startswith(f"arm.toml:{line}: this is not valid TOML: ")


def test_a_file_that_is_not_there_or_not_text_is_an_arm_file_error(tmp_path: Path) -> None:
    with pytest.raises(ArmFileError, match=r"nowhere\.toml cannot be read: No such file"):
        load_arm(tmp_path / "nowhere.toml")
    (tmp_path / "arm.toml").write_bytes(b"# fine\nname = '\xff'\n")
    with pytest.raises(ArmFileError, match=r"^arm\.toml:2: the file is not UTF-8$"):
        load_arm(tmp_path / "arm.toml")


def test_a_file_that_is_too_large_is_named_with_limit_and_size(tmp_path: Path) -> None:
    path = tmp_path / "arm.toml"
    path.write_text(TEXT + "#" * (1_000_000 - len(TEXT.encode("utf-8"))), encoding="utf-8")
    assert load_arm(path).joints == ARM.joints
    with path.open("a") as file:
        file.write("#")
    with pytest.raises(ArmFileError, match=r"arm\.toml has 1000001 bytes, an arm file may have at"):
        load_arm(path)


def test_windows_line_ends_change_nothing() -> None:
    def without_path(arm: Arm) -> tuple[object, ...]:
        return arm.name, arm.joints, arm.homing_order, dict(arm.poses), arm.tool_outputs

    assert without_path(parse_arm(TEXT.replace("\n", "\r\n"), PATH)) == without_path(ARM)


SPOILED = st.sampled_from(
    ["", "x", '"', "[", "]", "[[", "{", "=", "#", "nan", "-", "1e9", "true", "'''", "\n", "joints"]
)


@given(st.integers(0, len(TEXT)), st.integers(0, 40), SPOILED)
def test_only_the_documented_error_escapes_from_a_spoiled_file(
    at: int, cut: int, insert: str
) -> None:
    text = TEXT[:at] + insert + TEXT[at + cut :]
    try:
        arm = parse_arm(text, PATH)
    except ArmFileError as error:
        lines = text.count("\n") + 1
        for sentence in error.sentences:
            place = re.match(r"arm\.toml:(\d+): ", sentence)
            assert place is not None
            assert 1 <= int(place[1]) <= lines
    else:
        assert 1 <= len(arm.joints) <= 12


def homing(direction: int, travel_deg: float) -> str:
    return (
        f"{{ direction = {direction}, travel_deg = {travel_deg:g}, fast_deg_s = 9, slow_deg_s = 2, "
        "backoff_deg = 5 }"
    )


@pytest.mark.parametrize(
    ("joint", "direction", "enough_deg", "away"),
    [
        # The turntable's range is -170 to 170°, its home at -165: the search may begin at 170.
        ("turntable", -1, 335, "home_deg -165 is 335° from the far end of its range, 170°"),
        ("wrist", 1, 215, "home_deg 105 is 215° from the far end of its range, -110°"),
        # One that turns without end meets its sensor within a turn.
        ("tool", 1, 360, "less than the turn that the search may need"),
    ],
)
def test_homing_whose_travel_does_not_cover_the_range_is_remarked_on_with_its_line(
    joint: str, direction: int, enough_deg: float, away: str
) -> None:
    text, line = changed(joint, "homing", homing(direction, enough_deg))
    assert parse_arm(text, PATH).remarks == ()
    text, line = changed(joint, "homing", homing(direction, enough_deg - 1))
    (remark,) = parse_arm(text, PATH).remarks
    assert remark.startswith(f"arm.toml:{line}: joint {joint}: homing: travel_deg is ")
    assert away in remark


def test_demo_arm_needs_no_remark() -> None:
    assert ARM.remarks == ()


def test_jog_speeds_are_shares_of_each_joints_limit_with_usual_ones_where_none_are_given() -> None:
    assert ARM.jog_speeds == JogSpeeds(0.02, 0.15, 0.5, 0.1)
    given = "[jog_speeds]\nfine = 0.02\nnormal = 0.15\nfast = 0.5\n"
    assert given in TEXT
    without = re.sub(r"\[jog_speeds\]\n(?:\w+ = [^\n]*\n)+", "", TEXT)
    assert "jog_speeds" not in without
    assert parse_arm(without, PATH).jog_speeds == USUAL
    slow = re.sub(r"teaching = [^\n]*\n", "", TEXT).replace("fast = 0.5", "fast = 0.05")
    slow = slow.replace("fine = 0.02", "fine = 0.01").replace("normal = 0.15", "normal = 0.02")
    assert parse_arm(slow, PATH).jog_speeds == JogSpeeds(0.01, 0.02, 0.05, 0.05)
    told = JogSpeeds(0.02, 0.15, 0.5, 0.1).of(60.0)
    assert (told.fine, told.normal, told.fast) == pytest.approx((1.2, 9.0, 30.0))
    assert told.teaching == pytest.approx(6.0)


@pytest.mark.parametrize(
    ("given", "parts"),
    [
        ("fine = 0", ["fine", "0"]),
        ("fast = 1.01", ["fast", "1.01", "1"]),
        ("fine = 0.2", ["0.2, 0.15 and 0.5", "must rise"]),
        ("slow = 0.1", ["slow"]),
        ("teaching = 0.6", ["teaching is 0.6, above fast, which is 0.5"]),
    ],
)
def test_jog_speeds_that_cannot_be_are_told_with_their_line(given: str, parts: list[str]) -> None:
    name = given.split()[0]
    lines = [line for line in TEXT.split("\n") if not line.startswith(f"{name} =")]
    lines.insert(lines.index("[jog_speeds]") + 1, given)
    with pytest.raises(ArmFileError) as caught:
        parse_arm("\n".join(lines), PATH)
    (sentence,) = caught.value.sentences
    assert all(part in sentence for part in parts), sentence


def with_touch(members: str) -> str:
    """The demo arm's file with another table `touch`."""
    text, count = re.subn(r"\[touch\]\n(?:\w+ = [^\n]*\n)+", f"[touch]\n{members}\n", TEXT)
    assert count == 1
    return text


def test_touch_has_usual_values_and_each_joint_listens_unless_told_otherwise() -> None:
    assert ARM.touch == USUAL_TOUCH == Touch(0.1, "hold", "record")
    assert parse_arm(with_touch(""), PATH).touch == USUAL_TOUCH
    assert all(joint.touch for joint in ARM.joints)
    text = with_touch('detent_deg = 0.5\npress = "play"\nlong_press = "nothing"')
    text = text.replace('name = "elbow"\n', 'name = "elbow"\ntouch = false\n')
    arm = parse_arm(text, PATH)
    assert arm.touch == Touch(0.5, "play", "nothing")
    assert [joint.name for joint in arm.joints if not joint.touch] == ["elbow"]


@pytest.mark.parametrize(
    ("given", "part"),
    [
        ("detent_deg = 0", "detent_deg is 0"),
        ("detent_deg = 11", "detent_deg is 11"),
        ('press = "jump"', "one of nothing hold record play"),
        ("turn = 1", "turn"),
    ],
)
def test_touch_that_cannot_be_is_told_with_its_line(given: str, part: str) -> None:
    with pytest.raises(ArmFileError) as caught:
        parse_arm(with_touch(given), PATH)
    (sentence,) = caught.value.sentences
    assert part in sentence


def test_touch_of_a_joint_is_true_or_false() -> None:
    with pytest.raises(ArmFileError, match="touch is 1, but must be true or false"):
        parse_arm(TEXT.replace('name = "elbow"\n', 'name = "elbow"\ntouch = 1\n'), PATH)


def with_reversal(members: str) -> str:
    """The demo arm's file with more keys of its elbow, whose range is 260° wide."""
    return TEXT.replace('name = "elbow"\n', f'name = "elbow"\n{members}\n')


def test_reversal_error_and_approach_side_are_none_unless_given() -> None:
    assert {(joint.reversal_error_deg, joint.approach) for joint in ARM.joints} == {(0.0, None)}
    given = "reversal_error_deg = 0.2\napproach = { direction = -1, overtravel_deg = 0.5 }"
    elbow = parse_arm(with_reversal(given), PATH).joint("elbow")
    assert (elbow.reversal_error_deg, elbow.approach) == (0.2, Approach(-1, 0.5))


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ("reversal_error_deg = -0.1", "reversal_error_deg is -0.1, but must be 0 to 10 °"),
        ("reversal_error_deg = 11", "reversal_error_deg is 11, but must be 0 to 10 °"),
        (
            "approach = { direction = 1, overtravel_deg = -0.5 }",
            "approach: overtravel_deg is -0.5, but must be above 0 and at most 10 °",
        ),
        ("approach = { direction = 0, overtravel_deg = 1 }", "direction is 0, but must be 1 or -1"),
        ("approach = { direction = 1 }", "approach: lacks overtravel_deg"),
        ("approach = 1", "approach: must be a table"),
        ("approach = { direction = 1, overtravel_deg = 1, from = 2 }", "unknown key from"),
        (
            "reversal_error_deg = 0.5\napproach = { direction = 1, overtravel_deg = 0.5 }",
            "overtravel_deg is 0.5, but must be above reversal_error_deg 0.5°",
        ),
    ],
)
def test_reversal_that_cannot_be_is_told_with_joint_limit_and_value(given: str, told: str) -> None:
    (sentence,) = mistakes(with_reversal(given))
    assert sentence.startswith("arm.toml:")
    assert "joint elbow:" in sentence
    assert told in sentence, sentence


def test_reversal_beyond_the_range_is_told() -> None:
    narrow, _ = changed("elbow", "range_deg", "[-130, -129.6]")
    keys = "reversal_error_deg = 0.41\napproach = { direction = 1, overtravel_deg = 0.45 }"
    text = narrow.replace('name = "elbow"\n', f'name = "elbow"\n{keys}\n')
    told = [one for one in mistakes(text) if "reversal" in one or "overtravel" in one]
    assert len(told) == 2
    assert (
        "reversal_error_deg is 0.41, but must be below the 0.4° of range_deg" in told[1] + told[0]
    )
    assert "overtravel_deg is 0.45, but must be below the 0.4° of range_deg" in told[1] + told[0]


def with_idle_current(members: str) -> str:
    """The demo arm's file with another table `idle_current`."""
    text, count = re.subn(r"\[idle_current\]\n(?:\w+ = [^\n]*\n)+", members, TEXT)
    assert count == 1
    return text


def test_idle_current_is_a_share_after_a_time_and_none_where_the_table_is_not_there() -> None:
    assert ARM.idle_current == IdleCurrent(0.5, 60.0)
    assert {joint.name for joint in ARM.joints if joint.holds_load} == {
        "shoulder",
        "elbow",
        "wrist",
    }
    assert parse_arm(with_idle_current(""), PATH).idle_current is None


@pytest.mark.parametrize(
    ("members", "told"),
    [
        ("share = 0\nafter_s = 60", ["share", "0", "1"]),
        ("share = 1.5\nafter_s = 60", ["share", "1.5", "1"]),
        ("share = 0.5\nafter_s = 0.5", ["after_s", "0.5", "1"]),
        ("share = 0.5\nafter_s = 100000", ["after_s", "100000", "86400"]),
        ("share = 0.5", ["after_s"]),
        ("share = 0.5\nafter_s = 60\nafter_ms = 5", ["after_ms"]),
    ],
)
def test_idle_current_out_of_bounds_is_named_with_its_limits(members: str, told: list[str]) -> None:
    (sentence,) = mistakes(with_idle_current(f"[idle_current]\n{members}\n"))
    assert "idle_current" in sentence
    for word in told:
        assert word in sentence


def test_with_idle_current_every_joint_must_say_whether_it_holds_a_load() -> None:
    text = removed("elbow", "holds_load")
    (sentence,) = mistakes(text)
    for word in ("elbow", "holds_load", "idle_current"):
        assert word in sentence
    without, count = re.subn(r"\[idle_current\]\n(?:\w+ = [^\n]*\n)+", "", text)
    assert count == 1
    assert parse_arm(without, PATH).joint("elbow").holds_load is None
    (sentence,) = mistakes(changed("elbow", "holds_load", '"yes"')[0])
    assert "holds_load" in sentence
