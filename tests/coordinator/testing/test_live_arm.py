"""How an arm of processes is kept apart from others, and what is told where it does not start."""

import re
from pathlib import Path

import pytest

from coordinator.config.arm import Arm, parse_arm
from coordinator.testing.live_arm import NotLive, _with_other_ids, live
from tests.quick_arm import arm_text


def arm(text: str) -> Arm:
    return parse_arm(text, Path("arm.toml"))


def test_the_joints_get_ids_that_nobody_else_has_and_keep_all_else() -> None:
    text = arm_text(3, "00000000ad")
    first, second = arm(_with_other_ids(arm(text))), arm(_with_other_ids(arm(text)))
    ids = {joint.id for made in (arm(text), first, second) for joint in made.joints}
    assert len(ids) == 9
    assert re.sub("[0-9a-f]{12}", "", first.text) == re.sub("[0-9a-f]{12}", "", text)


def test_ids_that_cannot_be_replaced_are_told() -> None:
    hidden = arm_text(1, "00000000ad").replace('"00000000ad00"', '"\\u0030000000ad000"')
    with pytest.raises(NotLive, match=r"arm\.toml: the joints' ids are written in a way"):
        _with_other_ids(arm(hidden))


def test_a_process_that_does_not_start_is_told_with_its_exit_code_and_why(tmp_path: Path) -> None:
    with (
        pytest.raises(NotLive, match=r"^unisono simulate ended with exit code 2: .*'wifi'"),
        live(arm(arm_text(1)), tmp_path, network="wifi"),
    ):
        pass
