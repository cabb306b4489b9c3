"""`unisono accuracy ratio`: which gear a joint has, and which way it turns, by what was read; and
how a gear that was found is told and goes into an arm file, for `accuracy turn` too.
"""

import sys
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from coordinator.accuracy.gear import RATIO_TOLERANCE, Gear, as_written, fitted, whole_within
from coordinator.accuracy.no_figure import NoFigure
from coordinator.accuracy.readings import read_turns
from coordinator.accuracy.table import ReadingsError
from coordinator.cli.common import ExitCode, Failure, err, named_joint, out, read_arm
from coordinator.cli.figure import remark, show_figure, take_into
from coordinator.cli.written import require_writable
from coordinator.config.arm import Arm, Joint
from coordinator.config.mistake import Mistake
from coordinator.pictures.gear import gear_picture


@dataclass(frozen=True, slots=True)
class Asked:
    """What was asked for."""

    file: Path
    joint: str
    arm: Path
    yes: bool
    picture: Path | None


def show_ratio(asked: Asked, *, as_json: bool) -> ExitCode:
    """Gear ratio and direction, and into the arm file where they are others. Raises Failure."""
    require_writable("--plot", asked.picture, ".svg")
    arm = read_arm(asked.arm)
    joint = named_joint(arm, asked.joint)
    try:
        readings = read_turns(asked.file)
        found = fitted(readings.commanded, readings.read, readings.resolution)
    except ReadingsError as error:
        raise Failure(ExitCode.WRONG_INPUT, *error.mistakes) from error
    except NoFigure as error:
        sentence = f"{asked.file}: no gear ratio is told: {error}"
        raise Failure(ExitCode.WRONG_INPUT, Mistake(sentence, str(asked.file))) from error
    remarks = remarks_on(found, joint, by_scale=True)
    return show_figure(
        gear_json(found, joint, remarks),
        remarks,
        lambda: _tell_ratio(joint, found),
        picture=asked.picture,
        draw=lambda: gear_picture(asked.file.name, found, readings.commanded, readings.read),
        take=lambda: take_gear(arm, joint, found, given=asked.yes, as_json=as_json),
        as_json=as_json,
    )


def _tell_ratio(joint: Joint, found: Gear) -> None:
    out().print(
        f"{joint.name}: turned by {abs(found.share):.5g}° for each degree, standard "
        f"uncertainty {found.uncertainty:.2g}, from {found.count} readings, which lie "
        f"{found.deviation:.3g}° (s) from a line"
    )
    for line in verdict(found, joint):
        out().print(line)


def verdict(found: Gear, joint: Joint) -> list[str]:
    """What that says of the arm file, in sentences."""
    ratio, uncertainty = found.ratio(joint.gear_ratio)
    told = f"gear ratio {ratio:.5g}, standard uncertainty {uncertainty:.2g}; the arm file has "
    told += f"{joint.gear_ratio:g}: "
    lines = [told + ("they agree" if found.agrees else "THEY DO NOT AGREE")]
    if not found.is_right_way:
        lines.append("it TURNED THE OTHER WAY than it was told")
    return lines


def remarks_on(found: Gear, joint: Joint, *, by_scale: bool) -> list[str]:
    """What whoever takes a gear into an arm file must know first."""
    remarks = []
    if not found.is_right_way:
        remarks.append(
            f"it was read to turn the other way than it was told; the arm file has direction "
            f"{joint.direction}, which is wrong only if your scale rises as the joint's angles are "
            "to rise. It is changed at a terminal alone, after a question of its own, never by "
            "--yes"
        )
    if found.agrees:
        return remarks
    ratio, uncertainty = found.ratio(joint.gear_ratio)
    if by_scale and abs(abs(found.share) - 1.0) <= RATIO_TOLERANCE:
        remarks.append(
            f"the two differ by less than {100 * RATIO_TOLERANCE:g} %: a scale whose middle is off "
            "the joint's axis, or that is wrong itself, does as much, and its readings lie on a "
            "line all the same. Look at that first"
        )
    whole = whole_within(ratio, uncertainty)
    if whole is not None and whole != as_written(ratio, uncertainty):
        remarks.append(
            f"{whole} lies within two standard uncertainties: where the gear has that ratio by its "
            "teeth, write that"
        )
    return remarks


def take_gear(arm: Arm, joint: Joint, found: Gear, *, given: bool, as_json: bool) -> dict[str, Any]:
    """Write the ratio that the arm file has otherwise, after a yes, and the direction where that
    is answered by itself: a scale that is held the other way reads the same. What JSON tells.
    """
    figures: dict[str, float] = {}
    if not found.agrees:
        figures["gear_ratio"] = as_written(*found.ratio(joint.gear_ratio))
    if not found.is_right_way and _scale_rises(joint, given=given, as_json=as_json):
        figures["direction"] = -joint.direction
    if not figures:
        if not as_json:
            out().print(f"{arm.path} stays as it is")
        return {"written": False}
    anew = (
        f"with another gear or direction every angle of {joint.name} is another: home, range, "
        f"poses and what was taught. Home it and bring it up anew (unisono bring-up {joint.name}) "
        "before anything is played"
    )
    remark([anew])
    return take_into(arm, joint, figures, given=given, as_json=as_json)


def _scale_rises(joint: Joint, *, given: bool, as_json: bool) -> bool:
    """Whether somebody who was asked at a terminal says that the scale is held the right way."""
    if given or as_json or not sys.stdin.isatty():
        return False
    err().print(
        f"Does your scale rise as the angles of {joint.name} are to rise? Then its direction is "
        "wrong. Type yes, or anything else to leave it: ",
        end="",
    )
    return sys.stdin.readline().strip() == "yes"


def gear_json(found: Gear, joint: Joint, remarks: list[str]) -> dict[str, Any]:
    """All figures, with the ratio that they come to."""
    ratio, uncertainty = found.ratio(joint.gear_ratio)
    return asdict(found) | {
        "joint": joint.name, "measured_ratio": ratio, "measured_ratio_uncertainty": uncertainty,
        "told_ratio": joint.gear_ratio, "agrees": found.agrees,
        "is_right_way": found.is_right_way, "remarks": remarks,
    }  # fmt: skip
