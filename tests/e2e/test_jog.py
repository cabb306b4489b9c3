"""`unisono jog` before software joints on real sockets."""

import signal
import subprocess
import sys
from collections.abc import Iterator

import pytest

from tests.e2e.harness import Bench, Kind, linked_bench, until

pytestmark = pytest.mark.joints


@pytest.fixture(scope="module")
def arm(tmp_path_factory: pytest.TempPathFactory, kind: Kind) -> Iterator[Bench]:
    """Three joints and their coordinator, homed."""
    with linked_bench(tmp_path_factory.mktemp("arm"), kind) as made:
        made.home()
        yield made


def angle(arm: Bench, name: str) -> float:
    return float(arm.states()[name]["position_deg"])


@pytest.mark.parametrize(("by_deg", "speed"), [("0.5", "fine"), ("-3", "normal"), ("2", "fast")])
def test_a_joint_is_turned_by_that_angle_and_control_is_given_back(
    arm: Bench, by_deg: str, speed: str
) -> None:
    before = angle(arm, "elbow")
    done = arm.unisono("jog", "elbow", by_deg, "--speed", speed)
    assert done.returncode == 0, done.stderr
    assert f"elbow was turned by {by_deg}°: it is at" in done.stdout
    # The nearest count, of which there are thousands in a degree.
    assert angle(arm, "elbow") == pytest.approx(before + float(by_deg), abs=0.001)
    assert arm.holder() is None
    assert arm.arm_now()["condition"]["word"] == "at rest"


def test_json_has_the_joint_and_the_condition(arm: Bench) -> None:
    before = angle(arm, "turntable")
    told = arm.ask("jog", "turntable", "0.25")
    assert told["joint"]["position_deg"] == pytest.approx(before + 0.25, abs=0.001)
    assert (told["condition"]["word"], told["joint"]["state"]) == ("at rest", "ready")


@pytest.mark.parametrize(
    ("arguments", "code", "told"),
    [
        (("nose", "1"), 2, "there is no joint 'nose'"),
        (("elbow", "much"), 2, "much"),
        (("elbow", "nan"), 2, "nan"),
        (("elbow", "361"), 2, "361"),
        (("elbow", "350"), 3, "its range is"),
        (("elbow", "0"), 2, "a step of 0° turns nothing"),
        (("elbow",), 2, "DEGREES"),
        (("elbow", "1", "--speed", "warp"), 2, "warp"),
        (("elbow", "1", "--quick"), 2, "--quick"),
    ],
)
def test_what_cannot_be_is_told_in_a_line_and_moves_nothing(
    arm: Bench, arguments: tuple[str, ...], code: int, told: str
) -> None:
    before = angle(arm, "elbow")
    done = arm.unisono("jog", *arguments)
    assert (done.returncode, told in done.stderr) == (code, True), done.stderr
    assert "Traceback" not in done.stderr
    assert angle(arm, "elbow") == before


def test_ctrl_c_holds_and_says_that_the_joint_is_not_there(arm: Bench) -> None:
    command = [sys.executable, "-m", "coordinator.cli", "jog", "elbow", "60", "--speed", "fine"]
    with subprocess.Popen([*command, "--url", arm.url], stderr=subprocess.PIPE, text=True) as jog:
        until(lambda: arm.states()["elbow"]["state"] == "jogging", "it turns")
        jog.send_signal(signal.SIGINT)
        _, errors = jog.communicate()
    assert jog.returncode == 1
    assert "its steps ended before it was at" in errors
    until(lambda: arm.arm_now()["condition"]["word"] == "at rest", "at rest")
