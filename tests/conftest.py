"""Settings that hold for every test."""

import os

import pytest
from hypothesis import HealthCheck, settings
from xdist.remote import Producer
from xdist.scheduler import LoadScopeScheduling

# No deadline and no complaint about slow generation: both measure the machine, and shared ones
# are noisy. A property that hangs still meets the time limit that pytest sets.
_NOISY_MACHINE = [HealthCheck.too_slow]

# The same examples on every run, so that a change which passed once passes everywhere.
settings.register_profile(
    "quick",
    max_examples=100,
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


_IN_REAL_TIME = ("tests/browser/live/", "tests/e2e/")


class _OneInRealTime(LoadScopeScheduling):  # type: ignore[misc]  # pytest-xdist has no types
    """Keeps all tests that play in real time in one process, one after the other.

    A coordinator or a joint that gets no processor for half a second makes the arm hold, as it
    should: so these tests must not take it from each other. What runs beside them computes only.
    (pytest-xdist's own groups, `--dist loadgroup`, have no effect with pytest 9.2.)
    """

    def _split_scope(self, nodeid: str) -> str:
        return "real time" if nodeid.startswith(_IN_REAL_TIME) else nodeid


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Producer) -> LoadScopeScheduling:
    """The order of the tests where there are several processes."""
    return _OneInRealTime(config, log)


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers() -> int:
    """One process more than there are processors: the one in real time waits most of the time."""
    return len(os.sched_getaffinity(0)) + 1
