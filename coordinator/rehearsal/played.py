"""What one rehearsal of a program showed: its starts, its holds, its end."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class StartSeen:
    """A start or resume of all joints. Start skew and start margin are what truly happened, in
    µs.
    """

    is_resume: bool
    attempts: int
    start_delay_us: int
    start_skew_us: float | None
    """From the first joint's start to the last one's; None where one did not start after all."""
    start_skew_max_us: int | None
    """What the run's report proves the start skew to be at most."""
    start_margin_us: dict[str, int]
    """By joint."""
    off_us: dict[str, float]
    """By joint: its true start after the instant asked for (before it where negative), which is
    what its clock was truly wrong by. Without joints that did not start after all."""


@dataclass(frozen=True, slots=True)
class HoldSeen:
    """A hold in mid-motion."""

    cause: str
    apart_us: int
    """Path time between the joints at rest."""


@dataclass(frozen=True, slots=True)
class Played:
    """One rehearsal."""

    seed: int
    outcome: str
    """As in a run's report; `unfinished` if it was given up."""
    message: str
    wait_us: int | None
    """From the command to the first joint's start; None without any start."""
    motion_us: int | None
    """From there to the last joint's end, with pauses and holds, or to where it was given up."""
    starts: tuple[StartSeen, ...]
    """Those that all joints confirmed."""
    partial_starts: int
    refused_starts: int
    holds: tuple[HoldSeen, ...]
    buffer_margin_us: dict[str, int]
    """Smallest, by joint. Empty where all points were in the buffers before the start."""
    lowest_supply_v: dict[str, float]
    """True volts, by joint, since the coordinator was there that played."""
    simulated_us: int
    """Virtual time from the first event to the last, homing and all."""
