"""How long a program's text may be."""

from typing import Final

MAX_PROGRAM_BYTES: Final = 1_000_000
"""Of a program's text, in UTF-8: some 50,000 moves, which take seconds to plan."""


def size_mistake(name: str, size: int) -> str | None:
    """A sentence for a text of so many bytes that is too long, None for one that is not."""
    if size <= MAX_PROGRAM_BYTES:
        return None
    return f"{name} has {size} bytes, a program may have at most {MAX_PROGRAM_BYTES}"
