"""The joint in C, built once for this run of the tests, and its programs."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.joint_c.asking import Vectors
from tests.joint_c.building import joint_built


@pytest.fixture(scope="session")
def joint_build(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of the core's test programs, made with sanitizers."""
    return joint_built(tmp_path_factory)


@pytest.fixture(scope="session")
def vectors(joint_build: Path) -> Iterator[Vectors]:
    """The program, running; it ends with exit code 0."""
    program = Vectors(joint_build / "vectors")
    yield program
    assert program.end() == 0
