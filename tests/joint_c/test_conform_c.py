"""`unisono conform` against the joint in C: some of its checks. `make joints-c` makes them all."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from coordinator.config.arm import load_arm
from coordinator.config.data_folder import make_key
from coordinator.rehearsal.software_joints import joint_settings
from simulator.programs import arguments
from tests.joint_c.test_program import LOOPBACK, running
from tests.own import SERVICE_TYPE
from tests.quick_arm import arm_text

SOME = ("discovery/", "handshake/", "frames/", "homing/middle", "homing/lost")
ALL = os.environ.get("UNISONO_TEST_JOINTS") is not None


@pytest.mark.joints
@pytest.mark.timeout(1200 if ALL else 300)
def test_the_joint_in_c_keeps_to_the_protocol(joint_build: Path, tmp_path: Path) -> None:
    arm, data = tmp_path / "arm.toml", tmp_path / "data"
    arm.write_text(arm_text(1))
    key = make_key(data)
    (settings,) = joint_settings(load_arm(arm), 1)
    # A magnet that is left later than it was met: the middle moves by half of that, and stays.
    joint = [*arguments(settings), "--home-hysteresis", "2560", "--key", str(key)]
    joint += ["--service", SERVICE_TYPE.removesuffix(".local.")]
    with running(joint_build / "joint", *joint):
        done = subprocess.run(
            [
                *(sys.executable, "-m", "coordinator.cli", "conform", LOOPBACK, "--json"),
                *("--arm", str(arm), "--data", str(data), "--moves", "--yes"),
                *(word for one in (() if ALL else SOME) for word in ("--only", one)),
            ],
            capture_output=True,
            text=True,
        )
    told = json.loads(done.stdout)
    failed = [result for result in told["results"] if result["outcome"] == "fail"]
    assert (done.returncode, failed) == (0, []), done.stderr


def test_its_functions_pass_the_golden_vectors(joint_build: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "coordinator.cli", "conform", "--json", "--vectors",
         str(joint_build / "vectors")],
        capture_output=True,
        text=True,
    )  # fmt: skip
    counts = json.loads(done.stdout)["counts"]
    # One report has a sentence beyond ASCII, which this joint never says.
    assert (done.returncode, counts["fail"], counts["not made"]) == (0, 0, 1), done.stderr
