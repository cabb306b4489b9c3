"""Figures of a joint from an operator's own readings, and the step that takes one into its file."""

import difflib
import stat
from collections.abc import Callable, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Annotated, Any, Final

import typer

from coordinator.accuracy.readings import ReadingsError, read_pose, read_reversal
from coordinator.accuracy.repeatability import (
    LEAST_READINGS,
    STANDARD_READINGS,
    Repeatability,
    repeatability,
)
from coordinator.accuracy.reversal import LEAST_RUNS, Reversal, Target
from coordinator.cli.common import (
    EXIT_CODES,
    ExitCode,
    Failure,
    JsonOption,
    err,
    out,
    path_of,
    read_arm,
    require_yes,
    show_json,
)
from coordinator.cli.written import require_writable, write_file
from coordinator.config.arm_edit import with_joint_figure
from coordinator.config.data_folder import write_whole

ReadingsArgument = Annotated[
    Path, typer.Argument(metavar="FILE.csv", parser=path_of("FILE.csv"), help="The readings.")
]
PlotOption = Annotated[
    Path | None,
    typer.Option("--plot", parser=path_of("--plot"), metavar="FILE.svg", help="Draw the readings."),
]
DECIMALS: Final = 3
"""Of a reversal error in an arm file: thousandths of a degree, rounded up, since a joint has that
much play at least."""


def add_to(app: typer.Typer) -> None:
    """Add these commands."""
    accuracy = typer.Typer(
        rich_markup_mode=None,
        help="What your readings of a joint say: a dial gauge's or a camera's, typed into a table.",
        epilog=EXIT_CODES,
    )
    accuracy.command("repeatability", epilog=EXIT_CODES)(show_repeatability)
    accuracy.command("reversal", epilog=EXIT_CODES)(show_reversal)
    app.add_typer(accuracy, name="accuracy")


def show_repeatability(
    file: ReadingsArgument, picture: PlotOption = None, as_json: JsonOption = False
) -> ExitCode:
    """Repeatability of a pose that was gone to again and again (ISO 9283).

    FILE.csv has one row a reading, the deviation from the commanded pose. Its head is angle_deg, or
    x_mm and, if they were read, y_mm and z_mm; in place of deg may stand arcmin or arcsec, in place
    of mm um. It needs 10 readings; the standard asks for 30.
    """
    require_writable("--plot", picture, ".svg")
    try:
        readings = read_pose(file, LEAST_READINGS)
    except ReadingsError as error:
        raise Failure(ExitCode.WRONG_INPUT, *error.mistakes) from error
    found = repeatability(readings.deviations)
    remarks = [*readings.remarks]
    if found.count < STANDARD_READINGS:
        remarks.append(
            f"{found.count} readings: the standard asks for {STANDARD_READINGS}, and the figure is "
            "the less sure"
        )
    _remark(remarks)
    drawn = _draw(picture, lambda: _pose_picture(file, found, readings.deviations, readings.unit))
    if as_json:
        figures = asdict(found) | {
            "repeatability": found.repeatability, "uncertainty": found.uncertainty,
            "unit": readings.unit, "remarks": remarks,
        }  # fmt: skip
        show_json(figures | drawn)
        return ExitCode.DONE
    unit = readings.unit
    out().print(
        f"repeatability {found.repeatability:.4g} {unit} (RP = mean distance + 3 S), standard "
        f"uncertainty {found.uncertainty:.2g} {unit} from {found.count} readings"
    )
    out().print(
        f"mean distance {found.mean_distance:.4g} {unit}, S {found.deviation:.4g} {unit}; the "
        f"middle lies {found.bias:.4g} {unit} from the commanded pose (AP)"
    )
    _tell_drawn(picture)
    return ExitCode.DONE


def show_reversal(
    file: ReadingsArgument,
    radius_mm: Annotated[
        float | None,
        typer.Option(
            "--radius-mm",
            metavar="MM",
            min=1.0,
            max=10_000.0,
            help="How far from the axis a length was read, for deviation_mm and deviation_um.",
        ),
    ] = None,
    joint: Annotated[
        str | None, typer.Option("--joint", metavar="JOINT", help="Whose readings they are.")
    ] = None,
    arm: Annotated[
        Path | None,
        typer.Option(
            "--arm",
            parser=path_of("--arm"),
            metavar="FILE",
            help="The arm file whose reversal_error_deg of that joint is to be what was found: the "
            "difference is shown, and a yes asked for.",
        ),
    ] = None,
    yes: Annotated[bool, typer.Option("--yes", help="Write it without asking.")] = False,
    picture: PlotOption = None,
    as_json: JsonOption = False,
) -> ExitCode:
    """Reversal value of a joint: how far apart it stops that comes from below and from above
    (ISO 230-2).

    FILE.csv has the columns target_deg, from (below or above) and deviation_deg: what was reached
    less the target. In place of deg may stand arcmin or arcsec; or um or mm, of a gauge so far from
    the axis as --radius-mm says. Each target needs 5 readings from each side.
    """
    require_writable("--plot", picture, ".svg")
    if (joint is None) != (arm is None):
        raise Failure(ExitCode.WRONG_INPUT, "--joint and --arm belong together: one is missing")
    try:
        readings = read_reversal(file, LEAST_RUNS, radius_mm)
    except ReadingsError as error:
        raise Failure(ExitCode.WRONG_INPUT, *error.mistakes) from error
    found = readings.reversal
    _remark(readings.remarks)
    drawn = _draw(picture, lambda: _reversal_picture(file, found))
    if not as_json:
        _tell_reversal(found)
        _tell_drawn(picture)
    written: dict[str, Any] = {}
    if joint is not None and arm is not None:
        written = _take_into(arm, joint, found.largest, given=yes, as_json=as_json)
    if as_json:
        show_json(_reversal_json(found, readings.remarks) | drawn | written)
    return ExitCode.DONE


def _tell_reversal(found: Reversal) -> None:
    for one in found.targets:
        out().print(
            f"{one.at:g}°: from below {one.below.mean:.4f}° (s {one.below.deviation:.4f}°, "
            f"{one.below.count} readings), from above {one.above.mean:.4f}° "
            f"(s {one.above.deviation:.4f}°, {one.above.count}); reversal {one.reversal:.4f}° "
            f"± {one.uncertainty:.4f}° (standard uncertainty)"
        )
    out().print(
        f"reversal value {found.largest.reversal:.4f}° at {found.largest.at:g}°, mean "
        f"{found.mean:.4f}°; bidirectional repeatability {found.repeatability:.4f}° (R), "
        f"systematic deviation {found.systematic:.4f}° (E), accuracy {found.accuracy:.4f}° (A)"
    )


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
    path: Path, joint: str, target: Target, *, given: bool, as_json: bool
) -> dict[str, Any]:
    """Write the reversal error into the arm file, once somebody has seen the difference."""
    arm = read_arm(path)
    value = _rounded_up(abs(target.reversal))
    try:
        text = with_joint_figure(arm, joint, "reversal_error_deg", value)
    except KeyError as error:
        known = " ".join(one.name for one in arm.joints)
        raise Failure(
            ExitCode.WRONG_INPUT, f"there is no joint {joint!r}; {arm.name} has {known}"
        ) from error
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


def _pose_picture(
    file: Path, found: Repeatability, deviations: Sequence[tuple[float, ...]], unit: str
) -> str:
    from coordinator.pictures.readings import pose_picture

    return pose_picture(file.name, found, deviations, unit)


def _reversal_picture(file: Path, found: Reversal) -> str:
    from coordinator.pictures.readings import reversal_picture

    return reversal_picture(file.name, found)
