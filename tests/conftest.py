"""Settings that hold for every test."""

import os
from collections.abc import Iterator
from concurrent.futures import Executor

import pytest
from hypothesis import HealthCheck, settings

import tests.own  # noqa: F401  # before anything is announced or looked for
from coordinator.workers.processes import process_pool

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


def pytest_xdist_auto_num_workers() -> int:
    """Two for each processor: most of the time a test waits for what other processes do."""
    return 2 * (os.cpu_count() or 1)


@pytest.fixture(scope="session")
def worker() -> Iterator[Executor]:
    """A process that plays in virtual time, compiled where that is built; no patch reaches it."""
    with process_pool(1) as pool:
        yield pool
