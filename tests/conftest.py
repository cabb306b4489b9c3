"""Settings that hold for every test."""

import os

from hypothesis import HealthCheck, settings

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
