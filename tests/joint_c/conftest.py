"""The joint in C, built once for this run of the tests, and its programs."""

import fcntl
import os
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.joint_c.asking import Vectors

SOURCE = Path(__file__).parents[2] / "deploy" / "joint"
# What C leaves undefined, or reads beyond its bounds, ends the program, and so fails the test.
SANITIZERS = "-O1 -fsanitize=address,undefined -fno-sanitize-recover=all"


@pytest.fixture(scope="session")
def joint_build(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of the core's test programs, made with sanitizers. Needs gcc and make."""
    if shutil.which("gcc") is None or shutil.which("make") is None:
        pytest.fail("The joint in C needs gcc and make: 'make system' installs them.")
    common = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        common = common.parent  # of all test processes, which build one after the other
    folder = common / "joint_c"
    folder.mkdir(exist_ok=True)
    with (folder / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        done = subprocess.run(
            [
                "make",
                "-s",
                "-j2",
                "-C",
                str(SOURCE),
                f"BUILD={folder}",
                "CC=gcc",
                f"CFLAGS_EXTRA={SANITIZERS}",
            ],
            capture_output=True,
            text=True,
        )
    assert done.returncode == 0, done.stderr
    return folder


@pytest.fixture(scope="session")
def vectors(joint_build: Path) -> Iterator[Vectors]:
    """The program, running; it ends with exit code 0."""
    program = Vectors(joint_build / "vectors")
    yield program
    assert program.end() == 0
