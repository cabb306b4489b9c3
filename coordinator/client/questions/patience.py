"""How long a client waits for what takes a coordinator long, and for what must be known soon."""

from typing import Final

from coordinator.programs.size import MAX_LONG_BYTES

PLANNING_S: Final = 30.0
"""Planning a program takes seconds."""
LONG_PER_S: Final = 30_000
"""Characters of a long one that are read in a second at least: it takes minutes."""
LONGEST_S: Final = PLANNING_S + MAX_LONG_BYTES / LONG_PER_S
"""For a program that is read, of which nobody here knows how long it is."""
SOON_S: Final = 3.0
"""For a hold or stop: who waits for it must hear soon that it did not get through."""
GIVE_BACK_S: Final = 1.0
"""For control that is given back: who hangs notices later that nobody is there any more."""
LOOK_S: Final = 0.1
"""Between two looks at how something goes."""
IMAGE_BYTES_PER_S: Final = 250_000
"""At 2 Mbit/s."""


def planning_s(text: str) -> float:
    """For a program of which this is the text."""
    return PLANNING_S + len(text) / LONG_PER_S
