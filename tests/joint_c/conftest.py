"""The programs of the joint in C, which is built once for this run of the tests."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.joint_c.asking import Vectors
from tests.joint_c.step_runs import Program
from tests.joint_c.updated import NEW, script, set_up
from tests.joint_c.updating import Signed, signed


@pytest.fixture(scope="session")
def vectors(joint_build: Path) -> Iterator[Vectors]:
    """The program, running; it ends with exit code 0."""
    program = Vectors(joint_build / "vectors")
    yield program
    assert program.end() == 0


@pytest.fixture(scope="session", name="program")
def steps_of_the_motor(joint_build: Path) -> Iterator[Program]:
    """The program of the motor's steps, running."""
    program = Program(str(joint_build / "steps"))
    yield program
    program.close()


@pytest.fixture(scope="session", name="memory")
def memory_of_a_board(joint_build: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """That of one which was told all over its cable, to be copied."""
    return set_up(joint_build, tmp_path_factory.mktemp("board"))


@pytest.fixture(scope="session", name="short")
def new_firmware_in_one_frame(joint_build: Path) -> Signed:
    """A script that becomes the new firmware."""
    return signed(script(joint_build), NEW)
