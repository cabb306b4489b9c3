"""How much is tried: enough to show a fault, or by `make lab` as long as the fault's own story."""

import os
from typing import Final, TypeVar

T = TypeVar("T")
VARIABLE: Final = "UNISONO_LAB"
LONG: Final = os.environ.get(VARIABLE, "") == "long"


def often(short: T, long: T) -> T:
    """The first in every run of the tests, the second in `make lab`."""
    return long if LONG else short
