"""What the arm is: `arm.toml`, read strictly (design section 7).

The owner keeps this file in version control; what changes by use is in the database. Every key
that has a unit carries it in its name, and a key that is not known is an error, so a value in
another unit cannot slip in. All mistakes are reported, each with its line.
"""

import math
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import MappingProxyType
from typing import Final

from coordinator.config.idle_current import IdleCurrent, read_idle_current
from coordinator.config.jog_speeds import USUAL, JogSpeeds, read_jog_speeds
from coordinator.config.joint import MAX_ANGLE_DEG, NAME, Homing, Joint, read_joint
from coordinator.config.mistake import Mistake
from coordinator.config.regular_file import read_regular
from coordinator.config.toml_table import Complaints, Table, locate
from coordinator.config.tool_outputs import ToolOutput, Wait, read_tool_outputs
from coordinator.config.touch import USUAL_TOUCH, Touch, read_touch

__all__ = ["Arm", "ArmFileError", "Homing", "Joint", "ToolOutput", "Wait", "load_arm", "parse_arm"]

MAX_JOINTS: Final = 12
SKEW_LIMIT_MS: Final = 20.0
"""1.2° at 60 °/s. On links with even delays what can be proved is the shortest round trip: 5 ms on
the worst simulated one, and more behind repeaters."""
MIN_SKEW_LIMIT_MS: Final = 1.0
MAX_SKEW_LIMIT_MS: Final = 1_000.0
MAX_FILE_BYTES: Final = 1_000_000
"""Of an arm file: hundreds of times what twelve joints need. More is a file of another kind."""
SOURCE_V: Final = 24.0
"""Of the supply, where the file does not say it."""
MIN_SOURCE_V: Final = 5.0
MAX_SOURCE_V: Final = 60.0
"""As for a joint's `supply_limit_v`; and 5 V is what a controller needs (common practice)."""
BLEND_TOLERANCE_DEG: Final = 1.0
MAX_BLEND_TOLERANCE_DEG: Final = 45.0


class ArmFileError(ValueError):
    """An arm file that cannot be used, with all its mistakes, each with its line."""

    def __init__(self, *mistakes: Mistake) -> None:
        self.mistakes = mistakes
        self.sentences = tuple(mistake.sentence for mistake in mistakes)
        super().__init__("\n".join(self.sentences))


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
    skew_limit_ms: float
    """How far apart joints may be in time, as far as that can be proved."""
    tool_outputs: tuple[ToolOutput, ...]
    touch: Touch = USUAL_TOUCH
    """What comes of the joints' own controls."""
    jog_speeds: JogSpeeds = USUAL
    """Shares of each joint's velocity limit."""
    idle_current: IdleCurrent | None = None
    """Of joints that hold no load; None where no current at rest is reduced."""
    homing_while_held: bool = False
    """Whether a homing moves a joint only while a control is held."""
    blend_tolerance_deg: float = BLEND_TOLERANCE_DEG
    """How far from its corners a path in G64 may be in joint space, whatever a program allows."""
    source_v: float = SOURCE_V
    """Of the supply that feeds software joints, and that a check reckons with; real joints say what
    they get."""
    text: str = field(default="", repr=False)
    """The file's, as it was read."""
    remarks: tuple[str, ...] = ()
    """What is no mistake in the file, but may not be meant: sentences, each with its line."""

    @property
    def words(self) -> tuple[str, ...]:
        """The joints' program letters, base to tool."""
        return tuple(joint.word for joint in self.joints)

    @property
    def letters(self) -> Mapping[str, str]:
        """The joints' names by their program letters, base to tool."""
        return {joint.word: joint.name for joint in self.joints}

    @property
    def idle_share(self) -> float:
        """Of its hold current, what a joint has that says its current is reduced."""
        return 1.0 if self.idle_current is None else self.idle_current.share

    def pose_deg(self, name: str) -> dict[str, float]:
        """The angles of a named pose by joint. Raises KeyError."""
        names = (joint.name for joint in self.joints)
        return dict(zip(names, self.poses[name], strict=True))

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
        found, size = read_regular(path, MAX_FILE_BYTES)
        text = found.decode("utf-8") if size <= MAX_FILE_BYTES else ""
    except OSError as error:
        message = f"{path} cannot be read: {error.strerror}"
        raise ArmFileError(Mistake(message, str(path))) from error
    except UnicodeDecodeError as error:
        line = error.object.count(b"\n", 0, error.start) + 1
        raise ArmFileError(Mistake("the file is not UTF-8", path.name, line)) from error
    if size > MAX_FILE_BYTES:
        message = f"{path} has {size} bytes, an arm file may have at most {MAX_FILE_BYTES}"
        raise ArmFileError(Mistake(message, str(path)))
    return parse_arm(text, path)


def parse_arm(text: str, path: Path) -> Arm:
    """The arm that a file's text describes. Raises ArmFileError with every mistake in it."""
    whole, text = text, text.replace("\r\n", "\n")
    if text.startswith("\ufeff"):  # which some editors put there and TOML does not know
        message = "the file begins with a byte order mark (U+FEFF): save it as UTF-8 without one"
        raise ArmFileError(Mistake(message, path.name, 1))
    try:
        values = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise ArmFileError(_syntax_mistake(text, path, error)) from error
    lines = locate(text)
    complaints = Complaints(path.name, lines)
    arm = _read_arm(Table(values, (), "", complaints), path, complaints)
    if mistakes := complaints.mistakes():
        raise ArmFileError(*mistakes)
    remarks = Complaints(path.name, lines)
    for index, joint in enumerate(arm.joints):
        if sentence := _short_travel(joint):
            remarks.add(("joints", index, "homing"), f"joint {joint.name}: homing: {sentence}")
        if joint.supply_limit_v > arm.source_v:
            remarks.add(
                ("joints", index, "supply_limit_v"),
                f"joint {joint.name}: supply_limit_v is {joint.supply_limit_v:g}, above source_v "
                f"{arm.source_v:g} V: as a software joint it faults at once",
            )
    return replace(arm, text=whole, remarks=remarks.sentences())


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


def _syntax_mistake(text: str, path: Path, error: Exception) -> Mistake:
    message = str(error)
    place = re.search(r" \(at line (\d+), column \d+\)$", message)
    line = int(place[1]) if place else text.count("\n") + 1
    what = message[: place.start()] if place else message.removesuffix(" (at end of document)")
    return Mistake(f"this is not valid TOML: {what}", path.name, line)


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
        skew_limit_ms=_read_optional(
            table, "skew_limit_ms", SKEW_LIMIT_MS, MIN_SKEW_LIMIT_MS, MAX_SKEW_LIMIT_MS, "ms"
        ),
        tool_outputs=read_tool_outputs(table, joints, complaints),
        jog_speeds=read_jog_speeds(table),
        touch=read_touch(table),
        idle_current=read_idle_current(table, joints, complaints),
        homing_while_held=table.has("homing_while_held") and table.boolean("homing_while_held"),
        blend_tolerance_deg=_read_blend_tolerance(table),
        source_v=_read_optional(table, "source_v", SOURCE_V, MIN_SOURCE_V, MAX_SOURCE_V, "V"),
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


def _read_optional(
    table: Table, key: str, default: float, low: float, high: float, unit: str
) -> float:
    """A number that may be left out."""
    return table.number(key, low, high, unit) if table.has(key) else default


def _read_blend_tolerance(table: Table) -> float:
    key = "blend_tolerance_deg"
    if not table.has(key):
        return BLEND_TOLERANCE_DEG
    return table.number(key, 0.0, MAX_BLEND_TOLERANCE_DEG, "°", above=True)


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
