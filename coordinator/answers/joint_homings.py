"""How well a joint finds its home again."""

from dataclasses import dataclass

from coordinator.health.home_drift import HomeFigure, HomePlace


@dataclass(frozen=True, slots=True)
class JointHomings:
    """What a joint's homings found, beside one another, as far as this data folder knows.

    By its motor's steps: whether home wandered as steps were lost or as the sensor moved, nobody
    can tell from it.
    """

    joint: str
    homings: tuple[HomePlace, ...]
    """Oldest first, the last thousand homings of the arm at most."""
    shift_limit_deg: float
    """How far home may be from its reference before somebody must look at it."""
    wandered_deg: float | None
    """How far it was when it was further than that last, until somebody accepts it; None where the
    joint may count as homed."""
    rising_deviation_deg: HomeFigure
    """Standard deviation of where the rising edge is met slowly, which is its repeatability. This
    and the next three are of homings of the controller and the figures of the newest one."""
    falling_deviation_deg: HomeFigure
    hysteresis_deg: HomeFigure
    """Mean of theirs; the joint's play is in it."""
    drift_deg_per_c: HomeFigure
    """How far home goes with each °C at the driver (least squares)."""
