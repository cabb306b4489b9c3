"""The way back to where a run would go on."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class WayBack:
    """Where joints would be as a line of a run's program begins."""

    run: int
    name: str
    """Of its program."""
    line: int | None
    """Of the program; None where nobody knows how far it came: it begins from where the arm stands.
    """
    angles_deg: dict[str, float]
    """By joint; those of which the lines before say nothing stay, all of them where none is named.
    """
