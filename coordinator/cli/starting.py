"""While a command starts."""

import contextlib
import gc
from collections.abc import Iterator


@contextlib.contextmanager
def collecting_nothing() -> Iterator[None]:
    """Import without looking for garbage: what modules are made of stays, and is a lot to look at.

    A fifth of a coordinator's start went into that.
    """
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            gc.enable()
