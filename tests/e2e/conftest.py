"""A bench of its own for every end-to-end test, and turns for those of the demo."""

import fcntl
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from simulator.programs import PROGRAM_VARIABLE
from tests.e2e.harness import KINDS, Bench, Kind, bench


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Each test that asks for `kind`, or whose fixtures do, has the kinds of its mark `joints`.

    UNISONO_TEST_JOINTS names others for all that have the mark. Without it, joints are in Python.
    """
    if "kind" not in metafunc.fixturenames:
        return
    mark = metafunc.definition.get_closest_marker("joints")
    asked = os.environ.get("UNISONO_TEST_JOINTS", "").split()
    unknown = set(asked) - set(KINDS)
    if unknown:
        raise pytest.UsageError(f"UNISONO_TEST_JOINTS: {sorted(unknown)} are not of {KINDS}")
    if mark is not None and (asked or mark.args):
        kinds = asked or ["python", *mark.args]
        metafunc.parametrize("kind", kinds, indirect=True, scope="module")


@pytest.fixture(scope="session")
def joint_program(joint_build: Path) -> Iterator[Path]:
    """The joint in C with sanitizers, which commands that are started find."""
    program = joint_build / "joint"
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv(PROGRAM_VARIABLE, str(program))
        yield program


@pytest.fixture(scope="module")
def kind(request: pytest.FixtureRequest) -> Kind:
    """Which software joints a bench has: see `pytest_generate_tests`."""
    found: Kind = getattr(request, "param", "python")
    if found != "python":
        request.getfixturevalue("joint_program")
    return found


@pytest.fixture(name="bench")
def bench_of_three(tmp_path: Path, kind: Kind) -> Iterator[Bench]:
    """Three joints, a key, nothing running."""
    with bench(tmp_path, kind=kind) as made:
        yield made


@pytest.fixture(name="turn")
def turn_of_one() -> Iterator[None]:
    """Hold a lock that all demo tests on this computer share: the demo arm's ids are fixed."""
    with (Path(tempfile.gettempdir()) / "unisono-demo-tests.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield
