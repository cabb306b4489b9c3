"""What `unisono accuracy` does: figures of readings, and the step that takes one into a file."""

import difflib
import stat
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Final

from coordinator.accuracy.readings import read_pose, read_reversal
from coordinator.accuracy.repeatability import (
    LEAST_READINGS,
    STANDARD_READINGS,
    repeatability,
)
from coordinator.accuracy.reversal import LEAST_RUNS, Reversal, Side, Target
from coordinator.accuracy.table import ReadingsError
from coordinator.cli.common import (
    ExitCode,
    Failure,
    err,
    named_joint,
    out,
    read_arm,
    require_yes,
    show_json,
)
from coordinator.cli.written import require_writable, write_file
from coordinator.config.arm import Arm, Joint
from coordinator.config.arm_edit import with_joint_figure
from coordinator.config.data_folder import write_whole
from coordinator.pictures.readings import pose_picture, reversal_picture

DECIMALS: Final = 3
"""Of a reversal error in an arm file: thousandths of a degree, rounded up, since a joint has that
much play at least."""


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
    found = repeatability(readings.deviations, readings.resolution)
    remarks = [*readings.remarks]
    if found.count < STANDARD_READINGS:
        remarks.append(
            f"{found.count} readings: the standard asks for {STANDARD_READINGS}, and the figure is "
            "the less sure"
        )
    _remark(remarks)
    drawn = _draw(
        picture, lambda: pose_picture(file.name, found, readings.deviations, readings.unit)
    )
    if as_json:
        figures = asdict(found) | {
            "repeatability": found.repeatability, "uncertainty": found.uncertainty,
            "unit": readings.unit, "remarks": remarks,
        }  # fmt: skip
        show_json(figures | drawn)
        return ExitCode.DONE
    unit = readings.unit
    figure = f"{found.repeatability:.4g} {unit} (RP = mean distance + 3 S)"
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
    _tell_drawn(picture)
    return ExitCode.DONE


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
    remarks = (*readings.remarks, *([_implausible(found)] if found.is_implausible else []))
    _remark(remarks)
    drawn = _draw(asked.picture, lambda: reversal_picture(asked.file.name, found))
    if not as_json:
        _tell_reversal(found)
        _tell_drawn(asked.picture)
    written: dict[str, Any] = {}
    if arm is not None and joint is not None:
        if found.is_implausible:
            raise Failure(ExitCode.WRONG_INPUT, f"{_implausible(found)}; it is not written")
        written = _take_into(arm, joint, found.largest, given=asked.yes, as_json=as_json)
    if as_json:
        show_json(_reversal_json(found, remarks) | drawn | written)
    return ExitCode.DONE


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
    out().print(
        f"reversal value {found.largest.reversal:.4f}° at {found.largest.at:g}°, mean "
        f"{found.mean:.4f}°; bidirectional repeatability {found.repeatability:.4f}° (R), "
        f"systematic deviation {found.systematic:.4f}° (E), accuracy {found.accuracy:.4f}° (A)"
    )


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
        "accuracy": found.accuracy, "remarks": remarks,
    }  # fmt: skip


def _take_into(
    arm: Arm, joint: Joint, target: Target, *, given: bool, as_json: bool
) -> dict[str, Any]:
    """Write the reversal error into the arm file, once somebody has seen the difference."""
    path, value = arm.path, _rounded_up(abs(target.reversal))
    text = with_joint_figure(arm, joint.name, "reversal_error_deg", value)
    if text == arm.text:
        err().print(f"{path} has it already: nothing is written")
        return {"reversal_error_deg": value, "written": False}
    lines = difflib.unified_diff(
        arm.text.splitlines(), text.splitlines(), str(path), str(path), lineterm="", n=2
    )
    for line in lines:
        err().print(line)
    require_yes(
        f"Write this into {path}?", "changing an arm file", "nothing was written",
        given=given, as_json=as_json,
    )  # fmt: skip
    file = path.resolve()
    write_whole(file, text, stat.S_IMODE(file.stat().st_mode))
    if not as_json:
        out().print(f"{path} has it; a coordinator that runs takes it at its next start")
    return {"reversal_error_deg": value, "written": True}


def _rounded_up(degrees: float) -> float:
    scale = 10**DECIMALS
    # A figure that is round already stays, whatever binary fractions make of it.
    return -(-round(degrees * scale, 6) // 1) / scale


def _remark(remarks: list[str] | tuple[str, ...]) -> None:
    for remark in remarks:
        err().print(f"Remark: {remark}")


def _draw(picture: Path | None, make: Callable[[], str]) -> dict[str, str]:
    """Write a picture where one is asked for; what JSON tells of it."""
    if picture is None:
        return {}
    write_file(picture, make())
    return {"plot": str(picture)}


def _tell_drawn(picture: Path | None) -> None:
    if picture is not None:
        out().print(f"{picture} shows the readings")
