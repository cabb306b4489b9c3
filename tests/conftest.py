"""Settings that hold for every test."""

import os
import signal
from collections.abc import Iterator
from concurrent.futures import Executor
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

import tests.own  # noqa: F401  # before anything is announced or looked for
from coordinator.workers.processes import process_pool
from simulator.programs import PROGRAM_VARIABLE
from tests.joint_c.building import joint_built
from tests.postgres import PostgresServer, postgres_server
from tests.updatable import Updatable

# No deadline and no complaint about slow generation: both measure the machine, and shared ones
# are noisy. A property that hangs still meets the time limit that pytest sets.
_NOISY_MACHINE = [HealthCheck.too_slow]

# The same examples on every run, so that a change which passed once passes everywhere.
settings.register_profile(
    "quick",
    max_examples=40,
    derandomize=True,
    deadline=None,
    suppress_health_check=_NOISY_MACHINE,
)
# New examples on every run; a failure prints the lines that reproduce it.
settings.register_profile(
    "thorough",
    max_examples=2000,
    derandomize=False,
    print_blob=True,
    deadline=None,
    suppress_health_check=_NOISY_MACHINE,
)
settings.load_profile(os.environ.get("UNISONO_HYPOTHESIS", "quick"))


# Run in the background of a script, everything below ignores Ctrl-C unless told not to: what tests
# start would never end by it.
signal.signal(signal.SIGINT, signal.default_int_handler)


def pytest_xdist_auto_num_workers() -> int:
    """Three for each processor: most of the time a test waits for what other processes do."""
    return 3 * (os.cpu_count() or 1)


@pytest.fixture(scope="session")
def worker() -> Iterator[Executor]:
    """A process that plays in virtual time, compiled where that is built; no patch reaches it."""
    with process_pool(1) as pool:
        yield pool


@pytest.fixture(scope="session")
def postgres() -> Iterator[PostgresServer]:
    """A database server of this process of tests."""
    with postgres_server() as server:
        yield server


@pytest.fixture(scope="session")
def joint_build(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of the joint in C and the programs of its tests, made with sanitizers."""
    return joint_built(tmp_path_factory)


@pytest.fixture(params=["python", "c"])
def updatable(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Updatable:
    """Software joints that take firmware over the air, of each kind in turn."""
    if request.param == "python":
        return Updatable.in_python()
    build: Path = request.getfixturevalue("joint_build")
    monkeypatch.setenv(PROGRAM_VARIABLE, str(build / "joint"))
    return Updatable.in_c(build)
