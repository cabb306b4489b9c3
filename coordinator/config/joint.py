"""One joint of the arm as `arm.toml` describes it, and how it is read."""

import contextlib
import ipaddress
import math
import re
from dataclasses import dataclass
from typing import Final

from coordinator.config.approach import Approach, read_approach
from coordinator.config.printed_material import GLASS_TRANSITION_C, default_limit_c
from coordinator.config.toml_table import Complaints, Table, show
from protocol.constants import COUNTS_PER_MICROSTEP

MAX_OUTPUTS: Final = 8
MAX_INPUTS: Final = 8
"""Per joint: a point carries one byte of output values (protocol.points)."""
DEFAULT_WORDS: Final = ("A", "B", "C", "D", "E", "U", "V", "W")
"""Base to tool. A to E are angular words in ISO 6983 (from memory), the rest a dialect."""
SPARE_WORDS: Final = ("H", "I", "J", "K", "L", "Q", "R", "X", "Y", "Z")
"""Letters a file may also give to a joint; the rest mean something in every program."""
JOINT_WORDS: Final = tuple(sorted(DEFAULT_WORDS + SPARE_WORDS))
MAX_PORT: Final = 65_535
MAX_STEP_RATE_HZ: Final = 250_000
"""Of the driver: STEP high and low at least 1.9 µs, at most 250 kHz (TI SLVSA73)."""

# Bounds on what a file may ask for. They are far beyond a bench arm and inside what the planner
# is tested for: its library compares with absolute tolerances, which extreme figures defeat.
MAX_VELOCITY_DEG_S: Final = 1_000.0
MIN_ACCELERATION_DEG_S2: Final = 0.1
MAX_ACCELERATION_DEG_S2: Final = 10_000.0
MIN_JERK_DEG_S3: Final = 1.0
MAX_JERK_DEG_S3: Final = 1_000_000.0
MAX_ANGLE_DEG: Final = 3_600.0
MIN_RANGE_DEG: Final = 0.1
MAX_REVERSAL_ERROR_DEG: Final = 10.0
MAX_SHIFT_LIMIT_DEG: Final = 180.0
"""Of home: shifts are told without whole turns, so none is larger."""
MAX_RISE_S: Final = 10.0
"""For a velocity or an acceleration to build up: a joint must have points for a whole ramp in its
buffer, and over longer phases the rounding of a velocity grows into whole counts of position."""

SUPPLY_TOLERANCE: Final = 0.9
"""A converter may let its voltage fall to this share of the nominal one (IEC 60204-1 §4.3.3, from
memory). So what stands below the limit over this share may come to be below the limit."""

NAME: Final = r"[A-Za-z][A-Za-z0-9_-]{0,31}"
NAME_MEANING: Final = "a letter and up to 31 letters, digits, hyphens or underscores"
MAY_COLLIDE: Final = r"[^\x00-\x1f\x7f]{1,200}"
MAY_COLLIDE_MEANING: Final = "1 to 200 printable characters"
_MICROSTEPS: Final = tuple(2**k for k in range(9))


@dataclass(frozen=True, slots=True)
class Homing:
    """How a joint finds its home sensor."""

    direction: int
    """1 or −1: towards larger or smaller angles of the joint."""
    travel_deg: float
    """Furthest that the search may go."""
    fast_deg_s: float
    slow_deg_s: float
    backoff_deg: float
    """Distance backed off from the first edge before it is approached slowly."""


@dataclass(frozen=True, slots=True)
class Joint:
    """One joint. Angles are of its output, after the gear."""

    name: str
    id: str
    """12 hex digits, as the joint announces them."""
    word: str
    """The letter that stands for it in programs."""
    full_steps: int
    """Of the motor, per turn."""
    microsteps: int
    """Per full step."""
    gear_ratio: float
    """Turns of the motor per turn of the joint."""
    direction: int
    """1 where positive steps turn the joint to larger angles, else −1."""
    range_deg: tuple[float, float] | None
    """None for a joint that turns without end."""
    velocity_deg_s: float
    acceleration_deg_s2: float
    jerk_deg_s3: float
    home_deg: float
    """Angle at the middle of the home sensor."""
    homing: Homing
    temperature_warning_c: float
    temperature_limit_c: float
    supply_limit_v: float
    """Supply below which the joint reports a fault."""
    supply_warning_v: float
    run_current_a: float
    hold_current_a: float
    hop_resistance_ohm: float
    """Of the slip ring that brings the supply from the joint before this one."""
    outputs: tuple[str, ...]
    """Names, in the order of the bits in a point's output mask."""
    inputs: tuple[str, ...]
    holds_load: bool | None = None
    """Whether at rest its motor holds something up; None where the file does not say."""
    touch: bool = True
    """Whether its own touch control is listened to."""
    address: tuple[str, int] | None = None
    """IPv4 address and port of its stream, for a network that passes no multicast."""
    reversal_error_deg: float = 0.0
    """Play between motor and output (reversal value of ISO 230-2). Software joints have it."""
    approach: Approach | None = None
    """From which side it arrives where it stops; None for whichever it comes from."""
    printed_material: str | None = None
    """Of which gear and housing are; None where the file does not say."""
    own_shift_limit_deg: float | None = None
    """How far home may wander, None where the file does not say."""
    may_collide: str = ""
    """What it may run into as it homes, in its owner's words; empty where the file does not say."""

    @property
    def counts_per_degree(self) -> float:
        """Microsteps × 256 per degree, negative where the direction is."""
        per_turn = self.full_steps * self.microsteps * self.gear_ratio * COUNTS_PER_MICROSTEP
        return self.direction * per_turn / 360.0

    @property
    def microstep_deg(self) -> float:
        """By how much the smallest step of its motor turns it. Counts are finer, so that steps add
        up exactly; how its rotor follows within a microstep is not known.
        """
        return COUNTS_PER_MICROSTEP / abs(self.counts_per_degree)

    @property
    def home_shift_limit_deg(self) -> float:
        """How far home may wander from its reference before somebody must look at it.

        Half of a full step of the motor unless the file says otherwise. A stepper that slips does
        so by four; on the path the joint allows a whole one (protocol, homing), but it homes slowly
        from the same side, with about the same load.
        """
        if self.own_shift_limit_deg is not None:
            return self.own_shift_limit_deg
        return 180.0 / (self.full_steps * self.gear_ratio)

    @property
    def range_counts(self) -> tuple[int, int] | None:
        """The range in counts, lower end first, or None."""
        if self.range_deg is None:
            return None
        ends = [self.to_counts(end) for end in self.range_deg]
        return min(ends), max(ends)

    def to_counts(self, degrees: float) -> int:
        """The nearest position in counts."""
        return round(degrees * self.counts_per_degree)

    def to_degrees(self, counts: float) -> float:
        """The angle of a position in counts."""
        return counts / self.counts_per_degree


def read_joint(row: object, index: int, complaints: Complaints) -> Joint:
    """A joint from its table; whatever is wrong with it is added to `complaints`."""
    named = row.get("name") if isinstance(row, dict) else None
    label = f"joint {named if isinstance(named, str) and named else index + 1}:"
    table = Table(row, ("joints", index), label, complaints)
    limit_v = table.number("supply_limit_v", 0.0, 60.0, "V")
    range_deg, reversal_error_deg = _read_range(table), _read_reversal_error(table)
    material = _read_material(table)
    joint = Joint(
        name=table.text("name", NAME, NAME_MEANING),
        id=table.text("id", r"[0-9a-f]{12}", "12 hex digits in lower case"),
        word=_read_word(table, index),
        full_steps=table.integer("full_steps", 4, 1_000),
        microsteps=table.integer("microsteps", 1, _MICROSTEPS[-1]),
        gear_ratio=table.number("gear_ratio", 0.1, 1_000.0),
        direction=table.sign("direction"),
        range_deg=range_deg,
        velocity_deg_s=table.number("velocity_deg_s", 0.01, MAX_VELOCITY_DEG_S, "°/s"),
        acceleration_deg_s2=table.number(
            "acceleration_deg_s2", MIN_ACCELERATION_DEG_S2, MAX_ACCELERATION_DEG_S2, "°/s²"
        ),
        jerk_deg_s3=table.number("jerk_deg_s3", MIN_JERK_DEG_S3, MAX_JERK_DEG_S3, "°/s³"),
        home_deg=table.number("home_deg", -MAX_ANGLE_DEG, MAX_ANGLE_DEG, "°"),
        homing=_read_homing(table, label),
        temperature_warning_c=table.number("temperature_warning_c", 0.0, 125.0, "°C"),
        temperature_limit_c=_read_limit(table, material),
        supply_limit_v=limit_v,
        supply_warning_v=(
            table.number("supply_warning_v", 0.0, 60.0, "V")
            if table.has("supply_warning_v")
            else limit_v / SUPPLY_TOLERANCE
        ),
        run_current_a=table.number("run_current_a", 0.0, 10.0, "A", above=True),
        hold_current_a=table.number("hold_current_a", 0.0, 10.0, "A"),
        hop_resistance_ohm=table.number("hop_resistance_ohm", 0.0, 10.0, "Ω"),
        outputs=table.texts("outputs", NAME, NAME_MEANING) if table.has("outputs") else (),
        inputs=table.texts("inputs", NAME, NAME_MEANING) if table.has("inputs") else (),
        address=_read_address(table),
        holds_load=table.boolean("holds_load") if table.has("holds_load") else None,
        touch=table.boolean("touch") if table.has("touch") else True,
        reversal_error_deg=reversal_error_deg,
        approach=read_approach(table, label, range_deg, reversal_error_deg),
        printed_material=material or None,
        own_shift_limit_deg=(
            table.number("home_shift_limit_deg", 0.0, MAX_SHIFT_LIMIT_DEG, "°", above=True)
            if table.has("home_shift_limit_deg")
            else None
        ),
        may_collide=(
            table.text("may_collide", MAY_COLLIDE, MAY_COLLIDE_MEANING)
            if table.has("may_collide")
            else ""
        ),
    )
    _check_joint(table, joint)
    table.finish()
    return joint


def _read_word(table: Table, index: int) -> str:
    if not table.has("word"):
        if index < len(DEFAULT_WORDS):
            return DEFAULT_WORDS[index]
        table.complain(None, f"needs a word: {' '.join(DEFAULT_WORDS)} cover the first eight only")
        return ""
    letters = "".join(JOINT_WORDS)
    return table.text("word", f"[{letters}]", f"one of {' '.join(letters)}")


def _read_address(table: Table) -> tuple[str, int] | None:
    if not table.has("address"):
        return None
    value = table.value("address")
    host, _, port = value.partition(":") if isinstance(value, str) else ("", "", "")
    with contextlib.suppress(ValueError):
        number = int(port) if re.fullmatch("[0-9]{1,5}", port) else 0
        if 1 <= number <= MAX_PORT:
            return str(ipaddress.IPv4Address(host)), number
    table.complain(
        "address",
        f"address is {show(value)}, but must be an IPv4 address and a port, as in "
        '"192.168.4.21:8000"',
    )
    return None


def _read_range(table: Table) -> tuple[float, float] | None:
    value = table.value("range_deg")
    if value == "continuous":
        return None
    nothing = (math.nan, math.nan)
    if value is None:
        return nothing
    ends = [end for end in value if _is_number(end)] if isinstance(value, list) else []
    if not isinstance(value, list) or len(value) != 2 or len(ends) != 2:
        table.complain(
            "range_deg",
            f'range_deg is {show(value)}, but must be [lowest, highest] or "continuous"',
        )
        return nothing
    low, high = ends
    is_possible = all(-MAX_ANGLE_DEG <= end <= MAX_ANGLE_DEG for end in ends)
    if not is_possible or high - low < MIN_RANGE_DEG:
        table.complain(
            "range_deg",
            f"range_deg is {show(low)} to {show(high)}, but must rise by at least "
            f"{MIN_RANGE_DEG:g} and stay within -{MAX_ANGLE_DEG:g} to {MAX_ANGLE_DEG:g}°",
        )
        return nothing
    return float(low), float(high)


def _read_reversal_error(table: Table) -> float:
    key = "reversal_error_deg"
    return table.number(key, 0.0, MAX_REVERSAL_ERROR_DEG, "°") if table.has(key) else 0.0


def _read_material(table: Table) -> str:
    """Of what it is printed; empty where the file does not say, or after a complaint."""
    if not table.has("printed_material"):
        return ""
    known = list(GLASS_TRANSITION_C)
    return table.text("printed_material", "|".join(known), f"one of {' '.join(known)}")


def _read_limit(table: Table, material: str) -> float:
    """Above which it stops: as the file says, else by what it is printed of."""
    key, default_c = "temperature_limit_c", default_limit_c(material)
    if default_c is not None and not table.has(key):
        return default_c
    if table.has("printed_material") and not material and not table.has(key):
        return math.nan  # of the material it was complained
    limit_c = table.number(key, 0.0, 125.0, "°C")
    if default_c is not None and limit_c >= GLASS_TRANSITION_C[material]:
        table.complain(
            key,
            f"{key} is {limit_c:g}, but must be below the {GLASS_TRANSITION_C[material]:g} °C at "
            f"which {material} goes soft",
        )
        return math.nan
    return limit_c


def _read_homing(joint: Table, label: str) -> Homing:
    table = joint.table("homing", f"{label} homing:")
    if table is None:
        return Homing(0, math.nan, math.nan, math.nan, math.nan)
    homing = Homing(
        direction=table.sign("direction"),
        travel_deg=table.number("travel_deg", 0.0, MAX_ANGLE_DEG, "°", above=True),
        fast_deg_s=table.number("fast_deg_s", 0.0, MAX_VELOCITY_DEG_S, "°/s", above=True),
        slow_deg_s=table.number("slow_deg_s", 0.0, MAX_VELOCITY_DEG_S, "°/s", above=True),
        backoff_deg=table.number("backoff_deg", 0.0, MAX_ANGLE_DEG, "°", above=True),
    )
    if homing.slow_deg_s > homing.fast_deg_s:
        table.complain(
            "slow_deg_s",
            f"slow_deg_s is {homing.slow_deg_s:g}, above fast_deg_s {homing.fast_deg_s:g} °/s",
        )
    if homing.backoff_deg >= homing.travel_deg:
        table.complain(
            "backoff_deg",
            f"backoff_deg is {homing.backoff_deg:g}, but must be below travel_deg "
            f"{homing.travel_deg:g}°",
        )
    table.finish()
    return homing


def _check_joint(table: Table, joint: Joint) -> None:
    """What several keys of one joint must agree on."""
    if joint.microsteps and joint.microsteps not in _MICROSTEPS:
        table.complain(
            "microsteps", f"microsteps is {joint.microsteps}, but must be a power of two"
        )
    rate = abs(joint.counts_per_degree) / COUNTS_PER_MICROSTEP * joint.velocity_deg_s
    if rate > MAX_STEP_RATE_HZ:
        table.complain(
            "velocity_deg_s",
            f"velocity_deg_s is {joint.velocity_deg_s:g}, which needs {rate:.0f} steps a second; "
            f"the driver takes {MAX_STEP_RATE_HZ}",
        )
    rises_s = {
        "acceleration_deg_s2": joint.velocity_deg_s / joint.acceleration_deg_s2,
        "jerk_deg_s3": min(
            joint.acceleration_deg_s2 / joint.jerk_deg_s3,
            math.sqrt(joint.velocity_deg_s / joint.jerk_deg_s3),
        ),
    }
    for key, rise_s in rises_s.items():
        if rise_s > MAX_RISE_S:
            built = "velocity_deg_s" if key == "acceleration_deg_s2" else "acceleration"
            table.complain(
                key,
                f"{key} is {getattr(joint, key):g}, with which {built} takes {rise_s:.3g} s to "
                f"build up; the limit is {MAX_RISE_S:g} s",
            )
    if joint.homing.fast_deg_s > joint.velocity_deg_s:
        table.complain(
            "homing",
            f"homing: fast_deg_s is {joint.homing.fast_deg_s:g}, above velocity_deg_s "
            f"{joint.velocity_deg_s:g} °/s",
        )
    if joint.range_deg is not None:
        low, high = joint.range_deg
        if joint.home_deg < low or joint.home_deg > high:
            table.complain(
                "home_deg",
                f"home_deg is {joint.home_deg:g}, outside its range {low:g} to {high:g}°",
            )
        if joint.reversal_error_deg >= high - low:
            table.complain(
                "reversal_error_deg",
                f"reversal_error_deg is {joint.reversal_error_deg:g}, but must be below the "
                f"{high - low:g}° of range_deg",
            )
    if joint.temperature_warning_c >= joint.temperature_limit_c:
        table.complain(
            "temperature_warning_c",
            f"temperature_warning_c is {joint.temperature_warning_c:g}, but must be below "
            f"temperature_limit_c {joint.temperature_limit_c:g} °C",
        )
    if joint.supply_warning_v < joint.supply_limit_v:
        table.complain(
            "supply_warning_v",
            f"supply_warning_v is {joint.supply_warning_v:g}, below supply_limit_v "
            f"{joint.supply_limit_v:g} V",
        )
    if joint.hold_current_a > joint.run_current_a:
        table.complain(
            "hold_current_a",
            f"hold_current_a is {joint.hold_current_a:g}, above run_current_a "
            f"{joint.run_current_a:g} A",
        )
    if len(joint.outputs) > MAX_OUTPUTS:
        table.complain(
            "outputs", f"carries {len(joint.outputs)} outputs, but can have {MAX_OUTPUTS}"
        )
    if len(joint.inputs) > MAX_INPUTS:
        table.complain("inputs", f"has {len(joint.inputs)} inputs, but can have {MAX_INPUTS}")


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)
