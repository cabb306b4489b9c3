"""What `unisono accuracy` does with readings: repeatability and reversal value."""

from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from coordinator.accuracy.readings import read_pose, read_reversal
from coordinator.accuracy.repeatability import (
    LEAST_READINGS,
    STANDARD_READINGS,
    Repeatability,
    repeatability,
)
from coordinator.accuracy.reversal import LEAST_RUNS, Reversal, Side
from coordinator.accuracy.table import ReadingsError
from coordinator.cli.common import (
    ExitCode,
    Failure,
    named_joint,
    out,
    read_arm,
)
from coordinator.cli.figure import play_deg, show_figure, take_into
from coordinator.cli.written import require_writable
from coordinator.pictures.readings import pose_picture, reversal_picture


@dataclass(frozen=True, slots=True)
class Asked:
    """What was asked for of a reversal value."""

    file: Path
    radius_mm: float | None
    joint: str | None
    arm: Path | None
    yes: bool
    picture: Path | None


def show_repeatability(file: Path, picture: Path | None, *, as_json: bool) -> ExitCode:
    """Repeatability of a pose. Raises Failure."""
    require_writable("--plot", picture, ".svg")
    try:
        readings = read_pose(file, LEAST_READINGS)
    except ReadingsError as error:
        raise Failure(ExitCode.WRONG_INPUT, *error.mistakes) from error
    found = repeatability(readings.deviations, readings.resolution, is_angle=readings.unit == "deg")
    remarks = [*readings.remarks]
    if found.count < STANDARD_READINGS:
        remarks.append(
            f"{found.count} readings: the standard asks for {STANDARD_READINGS}, and the figure is "
            "the less sure"
        )
    figures = asdict(found) | {
        "repeatability": found.repeatability, "uncertainty": found.uncertainty,
        "unit": readings.unit, "remarks": remarks,
    }  # fmt: skip
    return show_figure(
        figures,
        remarks,
        lambda: _tell_pose(found, readings.unit),
        picture=picture,
        draw=lambda: pose_picture(file.name, found, readings.deviations, readings.unit),
        as_json=as_json,
    )


def _tell_pose(found: Repeatability, unit: str) -> None:
    figure = f"{found.repeatability:.4g} {unit} (RP = mean distance + 3 S)"
    if found.is_angle:
        figure = f"±{found.repeatability:.4g} {unit} (RP = ±3 S)"
    if found.repeatability == 0.0:
        figure = f"less than {found.resolution:.3g} {unit} can tell"
    out().print(
        f"repeatability {figure}, standard uncertainty {found.uncertainty:.2g} {unit} from "
        f"{found.count} readings"
    )
    out().print(
        f"mean distance {found.mean_distance:.4g} {unit}, S {found.deviation:.4g} {unit}; the "
        f"middle lies {found.bias:.4g} {unit} from the commanded pose (AP)"
    )


def show_reversal(asked: Asked, *, as_json: bool) -> ExitCode:
    """Reversal value of a joint, and into its arm file where that is asked. Raises Failure."""
    require_writable("--plot", asked.picture, ".svg")
    if (asked.joint is None) != (asked.arm is None):
        raise Failure(ExitCode.WRONG_INPUT, "--joint and --arm belong together: one is missing")
    if asked.yes and asked.arm is None:
        raise Failure(
            ExitCode.WRONG_INPUT,
            "--yes answers whether to write into an arm file: give --joint and --arm too",
        )
    arm = None if asked.arm is None else read_arm(asked.arm)
    joint = None if arm is None or asked.joint is None else named_joint(arm, asked.joint)
    try:
        range_deg = None if joint is None else joint.range_deg
        readings = read_reversal(asked.file, LEAST_RUNS, asked.radius_mm, range_deg)
    except ReadingsError as error:
        raise Failure(ExitCode.WRONG_INPUT, *error.mistakes) from error
    found = readings.reversal
    remarks = (*readings.remarks, *_remarks_on(found))

    def take() -> dict[str, Any]:
        if arm is None or joint is None:
            return {}
        if found.is_implausible:
            raise Failure(ExitCode.WRONG_INPUT, f"{_implausible(found)}; it is not written")
        if not found.is_seen:
            raise Failure(
                ExitCode.NOT_FINISHED,
                f"no play of {joint.name} is seen in these readings, which does not say that it "
                f"has none: it may be up to {found.bound:.4g}°. Nothing is written",
            )
        figures = {"reversal_error_deg": play_deg(found.largest.reversal)}
        return take_into(arm, joint, figures, given=asked.yes, as_json=as_json)

    return show_figure(
        _reversal_json(found, remarks),
        remarks,
        lambda: _tell_reversal(found),
        picture=asked.picture,
        draw=lambda: reversal_picture(asked.file.name, found),
        take=take,
        as_json=as_json,
    )


def _remarks_on(found: Reversal) -> list[str]:
    remarks = [_implausible(found)] if found.is_implausible else []
    if found.is_seen and found.largest.reversal > 0.0:
        remarks.append(
            f"at {found.largest.at:g}° it stopped further up where it came from below: play makes "
            "a joint stop short of where it is sent, from either side. Were the sides swapped, or "
            "does the gauge count the other way?"
        )
    return remarks


def _implausible(found: Reversal) -> str:
    """That a joint with such a play would not have turned between its targets."""
    largest = found.largest
    return (
        f"the reversal value, {largest.reversal:.4g}° at {largest.at:g}°, is larger than all "
        f"targets lie apart, {found.span_deg:g}°: is the unit of the head right, and the targets?"
    )


def _tell_reversal(found: Reversal) -> None:
    for one in found.targets:
        out().print(
            f"{one.at:g}°: from below {one.below.mean:.4f}° ({_scatter(one.below)}, "
            f"{one.below.count} readings), from above {one.above.mean:.4f}° "
            f"({_scatter(one.above)}, {one.above.count}); reversal {one.reversal:.4f}° "
            f"± {one.uncertainty:.2g}° (standard uncertainty)"
        )
    value = f"reversal value {found.largest.reversal:.4f}° at {found.largest.at:g}°"
    if not found.is_seen:
        value = f"no play is seen: the reversal value is less than {found.bound:.4g}°"
    out().print(
        f"{value}, mean {found.mean:.4f}°; bidirectional repeatability "
        f"{_told(found.repeatability, found)} (R), systematic deviation "
        f"{_told(found.systematic, found)} (E), accuracy {_told(found.accuracy, found)} (A)"
    )


def _told(figure: float, found: Reversal) -> str:
    return f"{figure:.4f}°" if figure else f"less than {found.resolution:.3g}° can tell"


def _scatter(side: Side) -> str:
    return f"s {side.deviation:.4f}°" if side.deviation else "all the same"


def _reversal_json(found: Reversal, remarks: tuple[str, ...]) -> dict[str, Any]:
    return {
        "unit": "deg",
        "targets": [
            asdict(one) | {"reversal": one.reversal, "uncertainty": one.uncertainty,
                           "repeatability": one.repeatability}
            for one in found.targets
        ],
        "reversal": found.largest.reversal, "mean_reversal": found.mean,
        "repeatability": found.repeatability, "systematic": found.systematic,
        "accuracy": found.accuracy, "is_seen": found.is_seen, "bound": found.bound,
        "resolution": found.resolution, "remarks": remarks,
    }  # fmt: skip
