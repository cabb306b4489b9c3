"""What is told of the arm file on the disk."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class ArmFileNow:
    """The arm file, which whoever edits it reads and writes."""

    file: str
    """Where it is, on the coordinator's computer."""
    text: str
    """As it is on the disk now."""
    sha256: str
    """Digest of its bytes, by which a later text names what it is written in place of."""
    in_use: bool
    """Whether the coordinator runs by this text; by another one it began, until its next start."""
    kept_because: str
    """Why it cannot be written from here, a sentence; empty where it can."""
