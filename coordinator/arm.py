"""What the arm is: `arm.toml`, read strictly (design section 7).

The owner keeps this file in version control; what changes by use is in the database. Every key
that has a unit carries it in its name, and a key that is not known is an error, so a value in
another unit cannot slip in. All mistakes are reported, each with its line.
"""

import math
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType
from typing import Final

from coordinator.arm_joint import MAX_ANGLE_DEG, NAME, NAME_MEANING, Homing, Joint, read_joint
from coordinator.toml_table import Complaints, Table, locate

__all__ = ["Arm", "ArmFileError", "Homing", "Joint", "ToolOutput", "load_arm", "parse_arm"]

MAX_JOINTS: Final = 12
TOOL_WORDS: Final = (("M3", "M5"), ("M8", "M9"))
"""Pairs of program words that may switch a tool output on and off."""


class ArmFileError(ValueError):
    """An arm file that cannot be used. `sentences` holds all its mistakes, each with its line."""

    def __init__(self, sentences: tuple[str, ...]) -> None:
        super().__init__("\n".join(sentences))
        self.sentences = sentences


@dataclass(frozen=True, slots=True)
class ToolOutput:
    """An output that programs switch, and the words that switch it."""

    output: str
    joint: str
    bit: int
    """Its place in the joint's output mask."""
    on: str
    off: str


@dataclass(frozen=True, slots=True)
class Arm:
    """A whole arm, its joints from base to tool."""

    name: str
    path: Path
    joints: tuple[Joint, ...]
    homing_order: tuple[str, ...]
    """Names of all joints, first homed first."""
    poses: Mapping[str, tuple[float, ...]]
    """Angles in degrees, one per joint; `park` is always there."""
    tool_outputs: tuple[ToolOutput, ...]
    remarks: tuple[str, ...] = ()
    """What is no mistake in the file, but may not be meant: sentences, each with its line."""

    @property
    def words(self) -> tuple[str, ...]:
        """The joints' program letters, base to tool."""
        return tuple(joint.word for joint in self.joints)

    def joint(self, name: str) -> Joint:
        """The joint of that name. Raises KeyError."""
        for joint in self.joints:
            if joint.name == name:
                return joint
        raise KeyError(name)


def load_arm(path: Path) -> Arm:
    """Read an arm file. Raises ArmFileError with every mistake found in it."""
    path = Path(path)
    try:
        text = path.read_bytes().decode("utf-8")
    except OSError as error:
        raise ArmFileError((f"{path} cannot be read: {error.strerror}",)) from error
    except UnicodeDecodeError as error:
        line = error.object.count(b"\n", 0, error.start) + 1
        raise ArmFileError((f"{path.name}:{line}: the file is not UTF-8",)) from error
    return parse_arm(text, path)


def parse_arm(text: str, path: Path) -> Arm:
    """The arm that a file's text describes. Raises ArmFileError with every mistake in it."""
    text = text.replace("\r\n", "\n")
    try:
        values = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise ArmFileError((_syntax_sentence(text, path, error),)) from error
    lines = locate(text)
    complaints = Complaints(path.name, lines)
    arm = _read_arm(Table(values, (), "", complaints), path, complaints)
    sentences = complaints.sentences()
    if sentences:
        raise ArmFileError(sentences)
    remarks = Complaints(path.name, lines)
    for index, joint in enumerate(arm.joints):
        if sentence := _short_travel(joint):
            remarks.add(("joints", index, "homing"), f"joint {joint.name}: homing: {sentence}")
    return replace(arm, remarks=remarks.sentences())


def _short_travel(joint: Joint) -> str | None:
    """Where homing does not reach the home sensor from everywhere in the range, how that is."""
    travel_deg, home_deg = joint.homing.travel_deg, joint.home_deg
    if joint.range_deg is None:
        short = "less than the turn that the search may need"
        return f"travel_deg is {travel_deg:g}, {short}" if travel_deg < 360.0 else None
    far_deg = joint.range_deg[0] if joint.homing.direction > 0 else joint.range_deg[1]
    away_deg = round(abs(home_deg - far_deg), 9)
    if travel_deg >= away_deg:
        return None
    return (
        f"travel_deg is {travel_deg:g}, but home_deg {home_deg:g} is {away_deg:g}° from the far "
        f"end of its range, {far_deg:g}°; from there the search finds nothing"
    )


def _syntax_sentence(text: str, path: Path, error: Exception) -> str:
    message = str(error)
    place = re.search(r" \(at line (\d+), column \d+\)$", message)
    line = int(place[1]) if place else text.count("\n") + 1
    what = message[: place.start()] if place else message.removesuffix(" (at end of document)")
    return f"{path.name}:{line}: this is not valid TOML: {what}"


def _read_arm(table: Table, path: Path, complaints: Complaints) -> Arm:
    name = table.text("name", r"[^\x00-\x1f]{1,64}", "1 to 64 printable characters")
    rows = table.items("joints")
    if table.has("joints") and not 1 <= len(rows) <= MAX_JOINTS:
        table.complain("joints", f"has {len(rows)} joints, but must have 1 to {MAX_JOINTS}")
    joints = tuple(read_joint(row, k, complaints) for k, row in enumerate(rows))
    _check_unique(joints, complaints)
    arm = Arm(
        name=name,
        path=path,
        joints=joints,
        homing_order=_read_homing_order(table, joints),
        poses=_read_poses(table, joints),
        tool_outputs=_read_tool_outputs(table, joints, complaints),
    )
    table.finish()
    return arm


def _check_unique(joints: tuple[Joint, ...], complaints: Complaints) -> None:
    owners: dict[tuple[str, str], int] = {}
    for index, joint in enumerate(joints):
        names = [("name", "name", joint.name), ("id", "id", joint.id), ("word", "word", joint.word)]
        names += [("outputs", "output", output) for output in joint.outputs]
        names += [("inputs", "input", name) for name in joint.inputs]
        for key, kind, value in names:
            owner = owners.setdefault((kind, value), index)
            if value and owner != index:
                complaints.add(
                    ("joints", index, key),
                    f"joint {joint.name or index + 1}: {kind} {value} is taken by "
                    f"joint {joints[owner].name}, number {owner + 1}",
                )


def _read_homing_order(table: Table, joints: tuple[Joint, ...]) -> tuple[str, ...]:
    order = table.texts("homing_order", NAME, "the name of a joint")
    if not table.has("homing_order"):
        return order
    names = [joint.name for joint in joints]
    for name in order:
        if name not in names:
            table.complain("homing_order", f"homing_order names {name}, which is no joint")
    missing = [name for name in names if name and name not in order]
    if missing:
        table.complain("homing_order", f"homing_order lacks {', '.join(missing)}")
    return order


def _read_poses(table: Table, joints: tuple[Joint, ...]) -> Mapping[str, tuple[float, ...]]:
    poses: dict[str, tuple[float, ...]] = {}
    rows = table.table("poses", "poses:")
    if rows is None:
        return poses
    for name in dict.fromkeys((*rows.names, "park")):
        pose = rows.table(name, f"pose {name}:")
        if pose is None:
            continue
        angles: list[float] = []
        for joint in joints:
            if not joint.name:
                continue
            angle = pose.number(joint.name, -MAX_ANGLE_DEG, MAX_ANGLE_DEG, "°")
            low, high = joint.range_deg or (-math.inf, math.inf)
            if angle < low or angle > high:
                pose.complain(
                    joint.name,
                    f"{joint.name} is {angle:g}, outside its range {low:g} to {high:g}°",
                )
            angles.append(angle)
        pose.finish()
        poses[name] = tuple(angles)
    return MappingProxyType(poses)


def _read_tool_outputs(
    arm: Table, joints: tuple[Joint, ...], complaints: Complaints
) -> tuple[ToolOutput, ...]:
    if not arm.has("tool_outputs"):
        return ()
    carriers = {
        output: (joint.name, bit) for joint in joints for bit, output in enumerate(joint.outputs)
    }
    found: list[ToolOutput] = []
    for index, row in enumerate(arm.items("tool_outputs")):
        table = Table(row, ("tool_outputs", index), f"tool output {index + 1}:", complaints)
        output = table.text("output", NAME, NAME_MEANING)
        pair = (
            table.text("on", r"M\d", "a program word"),
            table.text("off", r"M\d", "a program word"),
        )
        if output and output not in carriers:
            table.complain("output", f"output is {output}, which no joint carries")
        if all(pair) and pair not in TOOL_WORDS:
            allowed = " or ".join("/".join(words) for words in TOOL_WORDS)
            table.complain("on", f"on and off are {'/'.join(pair)}, but must be {allowed}")
        for other in found:
            if output and other.output == output:
                table.complain("output", f"output {output} has words already")
            if all(pair) and (other.on, other.off) == pair:
                table.complain("on", f"{'/'.join(pair)} switch {other.output} already")
        table.finish()
        joint_name, bit = carriers.get(output, ("", 0))
        found.append(ToolOutput(output, joint_name, bit, *pair))
    return tuple(found)
