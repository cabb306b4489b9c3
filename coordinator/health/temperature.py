"""A joint that is warm, one that is too hot, and a fan that stands still though it is warm."""

from typing import Final

from coordinator.codes.alarm_origin import AlarmOrigin
from coordinator.codes.priority import Priority
from coordinator.config.joint import Joint
from coordinator.health.alarm_kind import Finding, Kind

DEAD_BAND_C: Final = 2.0
"""As much as a reading may be off (TMP3x data sheet, Analog Devices: ±2 °C)."""
DELAY_US: Final = 5_000_000
"""A motor takes minutes to warm by a degree or two; a disturbed reading is over much sooner."""

WARM: Final[Kind] = Kind(
    "joint-warm",
    Priority.MEDIUM,
    AlarmOrigin.HEAT,
    cause="it holds or moves more than it can cool away, or air does not get to it",
    consequence="it gets hotter, and at its limit it stops and the arm with it",
    advice="let it rest, best with motors off once what it holds up is supported, and see that "
    "its fan runs and air gets to it; for good help more rest in the program, idle_current, or a "
    "lower run_current_a that still moves it. In itself playing slower does not cool it: its "
    "motor has the same current at any speed",
    over="is cool again",
    dead_band=f"{DEAD_BAND_C:g} °C below its warning",
    begin_after_us=DELAY_US,
)
HOT: Final[Kind] = Kind(
    "joint-hot",
    Priority.HIGH,
    AlarmOrigin.HEAT,
    cause="it was driven on above its warning, or its fan or the way of its air failed",
    consequence="it has stopped, and the arm with it; it can burn, and its print can soften",
    advice="do not touch it; let it cool down, find out why it got so hot, then home it",
    over="is below its temperature limit again",
    dead_band=f"{DEAD_BAND_C:g} °C below its limit",
)
"""At once: the joint stops by the same reading."""
FAN_STILL: Final[Kind] = Kind(
    "fan-still",
    Priority.MEDIUM,
    AlarmOrigin.HEAT,
    cause="its fan is blocked, unplugged or worn",
    consequence="it will get hotter, and at its limit it stops and the arm with it",
    advice="see whether its fan is blocked or unplugged, and let the joint cool down",
    over="runs its fan again, or is cool",
    dead_band=f"{DEAD_BAND_C:g} °C below its warning, or its fan runs",
    begin_after_us=2 * DELAY_US,
    end_after_us=DELAY_US,
)


def above(value: float, limit: float, dead_band: float) -> bool | None:
    """Whether a value is above its limit; None in the dead band below that."""
    if value > limit:
        return True
    return None if value > limit - dead_band else False


def warm(joint: Joint, celsius: float | None) -> Finding:
    """Whether a joint is above its warning."""
    warning_c, limit_c = joint.temperature_warning_c, joint.temperature_limit_c
    bad = None if celsius is None else above(celsius, warning_c, DEAD_BAND_C)
    if not bad:
        return Finding(WARM, bad)
    return Finding(
        WARM,
        bad,
        f"{joint.name} is warm: {celsius:.1f} °C when this began, above its warning at "
        f"{warning_c:g} °C; at its limit of {limit_c:g} °C the arm stops",
    )


def hot(joint: Joint, celsius: float | None) -> Finding:
    """Whether a joint is above its limit, at which it stops by itself, and the arm with it."""
    limit_c = joint.temperature_limit_c
    bad = None if celsius is None else above(celsius, limit_c, DEAD_BAND_C)
    if not bad:
        return Finding(HOT, bad)
    return Finding(
        HOT,
        bad,
        f"{joint.name} is too hot: {celsius:.1f} °C when this began, above its limit of "
        f"{limit_c:g} °C; it stops and takes no new motion before it has cooled",
    )


def fan_still(joint: Joint, celsius: float | None, fan_percent: int) -> Finding:
    """Whether a joint above its warning reports a fan that does not run."""
    if celsius is None:
        return Finding(FAN_STILL, None)
    if fan_percent > 0:
        return Finding(FAN_STILL, False)
    bad = above(celsius, joint.temperature_warning_c, DEAD_BAND_C)
    if not bad:
        return Finding(FAN_STILL, bad)
    return Finding(
        FAN_STILL,
        bad,
        f"{joint.name} was at {celsius:.1f} °C when this began, above its warning at "
        f"{joint.temperature_warning_c:g} °C, and reports its fan at 0 %; it will get hotter",
    )
