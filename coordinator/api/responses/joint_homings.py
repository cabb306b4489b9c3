"""How well a joint finds its home again, with an example of the whole."""

from typing import Final

from coordinator.answers.joint_homings import JointHomings
from coordinator.api.responses.base import as_answer
from coordinator.health.home_drift import HomeFigure, HomePlace

_FIGURES: Final = "45511.1 counts/°, home at 0°, searched downwards at 40 °/s and 10 °/s"
HOMINGS: Final = JointHomings(
    joint="elbow",
    homings=(
        HomePlace(
            homing=14,
            utc="2026-05-01T09:00:00+00:00",
            temperature_c=31.5,
            shift_deg=None,
            reference=14,
            since_reference_deg=0.0,
            rising_deg=-1.502,
            falling_deg=1.502,
            hysteresis_deg=0.043,
            level_deg=-0.0025,
            controller="0a1b2c3d4e5f",
            figures=_FIGURES,
        ),
        HomePlace(
            homing=15,
            utc="2026-05-01T12:00:00+00:00",
            temperature_c=38.25,
            shift_deg=0.005,
            reference=14,
            since_reference_deg=0.005,
            rising_deg=-1.497,
            falling_deg=1.507,
            hysteresis_deg=0.041,
            level_deg=0.0025,
            controller="0a1b2c3d4e5f",
            figures=_FIGURES,
        ),
    ),
    shift_limit_deg=0.045,
    wandered_deg=None,
    rising_deviation_deg=HomeFigure(0.0031, 0.00073, 10, ""),
    falling_deviation_deg=HomeFigure(0.0034, 0.0008, 10, ""),
    hysteresis_deg=HomeFigure(0.042, 0.0004, 11, ""),
    drift_deg_per_c=HomeFigure(
        None,
        None,
        10,
        "it was 3.1 °C warmer at one than at another of the homings that can be compared, and it "
        "takes 5 °C",
    ),
)
as_answer(JointHomings)
as_answer(HomePlace)
as_answer(HomeFigure)
