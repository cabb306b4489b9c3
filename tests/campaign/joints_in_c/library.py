"""The joint's core in C as a library, and its structures: those of deploy/joint/tests/played.

It is built by gcc when it is first asked for. UNISONO_PLAYED names one that is built already.
"""

import ctypes
import fcntl
import os
import subprocess
from ctypes import POINTER, c_char, c_char_p, c_double, c_int, c_int64, c_size_t, c_uint32, c_uint64
from functools import cache
from pathlib import Path
from typing import Final

from protocol.status import STATUS_BYTES

ROOT: Final = Path(__file__).parents[3]
SOURCE: Final = ROOT / "deploy" / "joint"
BUILD: Final = ROOT / "build" / "played"
BUILT: Final = "UNISONO_PLAYED"
PART: Final = 256.0
"""Parts of a µs in which the core computes."""
LEGS: Final = 4
RAMP_ROWS: Final = 64
TRUTHS: Final = 256
FRAME_BYTES: Final = 65536
ANSWER_BYTES: Final = STATUS_BYTES + 512
"""Of `struct played_answer`, which begins with the status."""
DATAGRAM_BYTES: Final = 160
KEY_BYTES: Final = 32
NO_TEMPERATURE: Final = -(2**31)
EVENTS: Final = (
    "start", "resume", "hold", "finish", "stop", "home", "outputs", "current-reduced",
    "current-full",
)  # fmt: skip
"""By the numbers of `enum played_event`."""
TEXT, CLOSE = 1, 2
"""Numbers of `enum played_kind`; 0 is a binary message."""


class Now(ctypes.Structure):
    """`struct played_now`."""

    now_us: float
    deadline_us: float
    position: float
    velocity: float
    motor: int
    messages: int
    truths: int
    crowded: int
    _fields_ = (
        *((name, c_double) for name in ("now_us", "deadline_us", "position", "velocity")),
        *((name, c_int64) for name in ("motor", "messages", "truths", "crowded")),
    )


class Change(ctypes.Structure):
    """`struct played_change`."""

    at_us: int
    path_us: int
    before_ppm: int
    after_ppm: int
    _fields_ = tuple((name, c_int64) for name in ("at_us", "path_us", "before_ppm", "after_ppm"))


class CourseSeen(ctypes.Structure):
    """`struct played_course`."""

    at: int
    path: int
    begin: int
    end: int
    before_ppm: int
    after_ppm: int
    by_table: int
    _fields_ = tuple(
        (name, c_int64)
        for name in ("at", "path", "begin", "end", "before_ppm", "after_ppm", "by_table")
    )


class Leg(ctypes.Structure):
    """`struct played_leg`."""

    from_us: float
    position: float
    velocity: float
    acceleration: float
    _fields_ = tuple(
        (name, c_double) for name in ("from_us", "position", "velocity", "acceleration")
    )


class Motion(ctypes.Structure):
    """`struct played_motion`."""

    moves: int
    legs: int
    leg: "ctypes.Array[Leg]"
    end_us: float
    end_position: float
    end_velocity: float
    _fields_ = (
        ("moves", c_int64),
        ("legs", c_int64),
        ("leg", Leg * LEGS),
        *((name, c_double) for name in ("end_us", "end_position", "end_velocity")),
    )


class ClockSeen(ctypes.Structure):
    """`struct played_clock`."""

    number: int
    arm_us: int
    joint_us: int
    rate_ppb: int
    remainder: int
    taken: int
    _fields_ = tuple(
        (name, c_int64)
        for name in ("number", "arm_us", "joint_us", "rate_ppb", "remainder", "taken")
    )


def _whole(*names: str) -> tuple[tuple[str, type[c_int64]], ...]:
    return tuple((name, c_int64) for name in names)


class Seen(ctypes.Structure):
    """`struct played_seen`."""

    state: int
    homed: int
    energised: int
    reduced: int
    latched: int
    faults: int
    inputs: int
    outputs: int
    home_sensor: int
    fan_percent: int
    shift: int
    settled_us: float
    rest_position: float
    begun: int
    session: int
    sequence: int
    condition: int
    driven_us: float
    homing_number: int
    turn: int
    presses: int
    long_presses: int
    complied: int
    reason: int
    on_path: int
    stand_us: int
    has_present: int
    has_pending: int
    has_permit: int
    permit_us: int
    has_began: int
    began_us: int
    has_goal: int
    goal_us: int
    present: Change
    pending: Change
    course: CourseSeen
    motion: Motion
    clock: ClockSeen
    trajectory: int
    first_index: int
    next_index: int
    next_switch: int
    has_last: int
    configured: int
    digest: "ctypes.Array[c_char]"
    cause: bytes
    _fields_ = (
        *_whole("state", "homed", "energised", "reduced", "latched", "faults"),
        *_whole("inputs", "outputs", "home_sensor", "fan_percent", "shift"),
        ("settled_us", c_double),
        ("rest_position", c_double),
        ("begun", c_int64),
        ("session", c_uint64),
        ("sequence", c_int64),
        ("condition", c_int64),
        ("driven_us", c_double),
        *_whole("homing_number", "turn", "presses", "long_presses"),
        *_whole("complied", "reason", "on_path", "stand_us"),
        *_whole("has_present", "has_pending", "has_permit", "permit_us"),
        *_whole("has_began", "began_us", "has_goal", "goal_us"),
        ("present", Change),
        ("pending", Change),
        ("course", CourseSeen),
        ("motion", Motion),
        ("clock", ClockSeen),
        *_whole("trajectory", "first_index", "next_index", "next_switch", "has_last"),
        ("configured", c_int64),
        ("digest", c_int64 * 4),
        ("cause", c_char * 16),
    )


def _begin_of(name: str) -> int:
    at: int = getattr(Seen, name).offset
    return at


PATH: Final = _begin_of("on_path")
MOTION: Final = _begin_of("motion")
CLOCK: Final = _begin_of("clock")
POINTS: Final = _begin_of("trajectory")
POINTS_END: Final = _begin_of("configured")
"""Where these begin in the bytes of what is seen, one after the other."""


class TruthSeen(ctypes.Structure):
    """`struct played_truth`."""

    at_us: float
    position: float
    path_us: float
    event: int
    trajectory: int
    plan: int
    outputs: int
    inputs: int
    shift: int
    _fields_ = (
        *((name, c_double) for name in ("at_us", "position", "path_us")),
        *_whole("event", "trajectory", "plan", "outputs", "inputs", "shift"),
    )


class PointSeen(ctypes.Structure):
    """`struct played_point`."""

    time_us: int
    position: int
    velocity: int
    last: int
    mask: int
    values: int
    _fields_ = _whole("time_us", "position", "velocity", "last", "mask", "values")


LIMITS: Final = (
    *("counts_per_turn", "full_step", "has_range", "range_low", "range_high", "velocity"),
    *("acceleration", "jog_unhomed", "direction", "travel", "backoff", "fast", "slow", "home"),
    *("temperature_limit_centi_c", "supply_limit_mv", "run_current_ma", "hold_current_ma"),
    *("has_outputs_off", "on_hold", "on_stop", "on_lost"),
    *("has_idle_current", "after_ms", "current_ma", "ramp_rows"),
)


class ConfigurationSeen(ctypes.Structure):
    """`struct played_configuration`."""

    ramp: "ctypes.Array[ctypes.Array[c_int64]]"
    name: bytes
    _fields_ = (
        *_whole(*LIMITS),
        ("ramp", (c_int64 * 2) * RAMP_ROWS),
        ("name", c_char * 40),
    )


class Settings(ctypes.Structure):
    """`struct played_settings`."""

    _fields_ = (
        ("key", c_char_p),
        ("id", c_char_p),
        ("firmware", c_char_p),
        *_whole("boot", "udp", "point_capacity", "max_step_rate_hz", "inputs", "outputs"),
        ("idle_current", c_int64),
    )


_BLOCK, _TIME = ctypes.c_void_p, c_double
_CALLS: Final = {
    "played_size": (c_size_t, ()),
    "played_begin": (None, (_BLOCK, POINTER(Settings), _TIME)),
    "played_moved": (None, (_BLOCK, _BLOCK)),
    "played_run": (None, (_BLOCK, _TIME)),
    "played_opened": (None, (_BLOCK, _TIME, c_uint32, c_uint32)),
    "played_frame": (
        None,
        (_BLOCK, _TIME, c_uint32, c_int, c_char_p, c_size_t, c_char_p),
    ),
    "played_closed": (None, (_BLOCK, _TIME, c_uint32)),
    "played_datagram": (c_size_t, (_BLOCK, _TIME, c_char_p, c_size_t, c_char_p)),
    "played_seal": (c_size_t, (_BLOCK, c_char_p, _TIME, c_char_p)),
    "played_hall": (None, (_BLOCK, _TIME, c_int)),
    "played_inputs": (None, (_BLOCK, _TIME, c_int)),
    "played_sense": (None, (_BLOCK, _TIME, c_int, c_int, c_int)),
    "played_driver_fault": (None, (_BLOCK, _TIME)),
    "played_touch": (None, (_BLOCK, c_int, c_int, c_int)),
    "played_take": (c_size_t, (_BLOCK, POINTER(c_int64 * 2), c_char_p)),
    "played_truths": (c_size_t, (_BLOCK, POINTER(TruthSeen))),
    "played_points": (None, (_BLOCK, c_uint32, c_uint32, POINTER(PointSeen))),
    "played_configuration": (None, (_BLOCK, POINTER(ConfigurationSeen))),
    "played_lamp": (c_int, (_BLOCK, _TIME)),
    "played_keys": (c_int, (_BLOCK, c_char_p, c_char_p)),
}


def build(folder: Path = BUILD, source: Path = SOURCE, flags: str = "") -> Path:
    """The library, made of a source where that is newer. Raises RuntimeError with what gcc says."""
    folder.mkdir(parents=True, exist_ok=True)
    with (folder / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        done = subprocess.run(
            ["make", "-s", "-C", str(source), "played", f"BUILD={folder}", "CC=gcc",
             f"CFLAGS_EXTRA={flags}"],
            capture_output=True,
            text=True,
        )  # fmt: skip
    if done.returncode:
        raise RuntimeError(f"The joint in C cannot be built, it needs gcc and make: {done.stderr}")
    return folder / "libplayed.so"


@cache
def library() -> ctypes.CDLL:
    """The library of this process."""
    path = os.environ.get(BUILT)
    found = ctypes.CDLL(str(Path(path) if path else build()))
    for name, (gives, takes) in _CALLS.items():
        call = getattr(found, name)
        call.restype, call.argtypes = gives, takes
    return found
