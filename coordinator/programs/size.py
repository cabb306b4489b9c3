"""How long a program's text may be."""

from typing import Final

MAX_PROGRAM_BYTES: Final = 1_000_000
"""Of a program's text in JSON, in UTF-8: some 50,000 moves. More would keep the arm waiting while
it is taken apart; so one that is kept or rehearsed has no more either."""
MAX_LONG_BYTES: Final = 32_000_000
"""Of one that is sent as it is, to be checked and played: held in memory while it is."""
MAX_LONG_LINES: Final = 1_000_000
"""Of the same: each takes a tenth of a millisecond before anything moves."""


def size_mistake(name: str, size: int, limit: int = MAX_PROGRAM_BYTES) -> str | None:
    """A sentence for a text of so many bytes that is too long, None for one that is not."""
    if size <= limit:
        return None
    return f"{name} has {size} bytes, a program may have at most {limit}"


def long_mistake(name: str, text: bytes) -> str | None:
    """The same for one that may be long."""
    ends = max(text.count(b"\n"), text.count(b"\r"))
    lines = ends + (not text.endswith((b"\n", b"\r")))  # an end at the end begins no other
    if lines > MAX_LONG_LINES:
        return f"{name} has {lines} lines, a program may have at most {MAX_LONG_LINES}"
    return size_mistake(name, len(text), MAX_LONG_BYTES)
