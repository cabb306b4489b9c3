"""Builds the joint in C for the tests, once for all of their processes."""

import fcntl
import os
import shutil
import subprocess
from pathlib import Path

import pytest

SOURCE = Path(__file__).parents[2] / "deploy" / "joint"
# What C leaves undefined, or reads beyond its bounds, ends the program, and so fails the test.
SANITIZERS = "-O1 -fsanitize=address,undefined -fno-sanitize-recover=all"


def joint_built(factory: pytest.TempPathFactory) -> Path:
    """The folder with the joint and the programs of its tests, made with sanitizers.

    Needs gcc and make.
    """
    if shutil.which("gcc") is None or shutil.which("make") is None:
        pytest.fail("The joint in C needs gcc and make: 'make system' installs them.")
    common = factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        common = common.parent  # of all test processes, which build one after the other
    folder = common / "joint_c"
    folder.mkdir(exist_ok=True)
    with (folder / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        done = subprocess.run(
            ["make", "-s", "-j2", "-C", str(SOURCE), f"BUILD={folder}", "CC=gcc",
             f"CFLAGS_EXTRA={SANITIZERS}"],
            capture_output=True,
            text=True,
        )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return folder
