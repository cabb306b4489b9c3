"""The drive: all that a joint is permitted to do right now, in one datagram (design section 3).

A request is an NTP client packet with a random transmit timestamp, one extension field 0xF001 with
the drive, and a MAC of key identifier and tag (RFC 5905 §7.3). Nothing in it is a command that
could get lost: what the newest drive does not carry is withdrawn.
"""

import struct
from dataclasses import dataclass
from enum import IntEnum
from typing import Final

from protocol import ntp
from protocol.clockmap import ClockMap
from protocol.constants import MAX_INTEGER, PPM
from protocol.errors import DatagramError
from protocol.keys import TAG_BYTES, Direction, seal_datagram, unseal_datagram
from protocol.light import NUMBERS, WORDS, ConditionWord
from protocol.pathtime import RateChange

FIELD_DRIVE: Final = 0xF001
"""From the range that RFC 5905's registry leaves for experiments (RFC 9748: 0xF000 to 0xFFFF)."""


class Mode(IntEnum):
    """What the drive permits, if anything."""

    NONE = 0
    PATH = 1
    JOG = 2
    HOME = 3


class StopLevel(IntEnum):
    """Stops, with the categories of IEC 60204-1 §9.2.2 beside them."""

    NONE = 0
    STOP = 1
    """Brake, keep holding: category 2."""
    STOP_AND_RELEASE = 2
    """Brake, then drivers off: category 1."""
    RELEASE = 3
    """Drivers off at once: category 0."""


@dataclass(frozen=True, slots=True)
class Plan:
    """What the joints of a run are to stand at, and the change of rate once it is time."""

    number: int
    trajectory: int
    stand_us: int
    """Path time at which a joint at rest must stand to comply."""
    change: RateChange | None = None


@dataclass(frozen=True, slots=True)
class Drive:
    """One drive. Fields that its mode does not use are at their defaults."""

    session: int
    sequence: int
    mode: Mode = Mode.NONE
    energise: bool = False
    """True turns drivers on; False changes nothing."""
    stop: StopLevel = StopLevel.NONE
    output_mask: int = 0
    output_values: int = 0
    clock_map: ClockMap | None = None
    plan: Plan | None = None
    permit_us: int | None = None
    """Path time up to which a joint may move."""
    jog_velocity: int = 0
    """Counts (microsteps × 256) per second; to a target no faster than its size."""
    jog_target: int | None = None
    """Position in counts at which a jog comes to rest, from whichever side."""
    expiry_us: int | None = None
    """Arm time up to which jog, home and advance are permitted."""
    homing_number: int = 0
    """Each number is obeyed once; 0 asks for nothing."""
    full_current: bool = False
    """Whether some joint of the arm moves or is about to: no motor keeps a reduced current."""
    condition: ConditionWord = ConditionWord.NOT_KNOWN
    """Of the arm, for the joint's light; no joint moves or stops by it."""


_ENERGISE, _HAS_MAP, _HAS_PLAN, _HAS_CHANGE, _HAS_PERMIT, _HAS_EXPIRY, _HAS_TARGET = (
    1 << k for k in range(7)
)
_FLAGS: Final = 0x7F
_DRIVE: Final = struct.Struct(">QIBBBBBBBxIqqiIIqqqIIqqiIq")
DRIVE_BYTES: Final = _DRIVE.size
REQUEST_BYTES: Final = ntp.PACKET_BYTES + ntp.field_bytes(DRIVE_BYTES) + 4 + TAG_BYTES


def encode_drive(drive: Drive, transmit: int, key: bytes) -> bytes:
    """The request datagram. `transmit` is the random 64-bit transmit timestamp."""
    head = ntp.encode_request(transmit) + ntp.encode_field(FIELD_DRIVE, pack_drive(drive))
    return seal_datagram(head, Direction.TO_JOINT, key)


def decode_drive(data: bytes, key: bytes) -> tuple[ntp.NtpPacket, Drive]:
    """The packet and drive in a datagram. Raises DatagramError; the tag is checked first."""
    head = unseal_datagram(data, Direction.TO_JOINT, key)
    packet = ntp.decode_packet(head)
    if packet.mode != ntp.MODE_CLIENT:
        raise DatagramError("ntp-mode", f"NTP mode {packet.mode} is no request")
    value = ntp.decode_field(head, ntp.PACKET_BYTES, FIELD_DRIVE, DRIVE_BYTES)
    if len(head) != ntp.PACKET_BYTES + ntp.field_bytes(DRIVE_BYTES):
        raise DatagramError("field-length", f"{len(head)} bytes are more than one drive")
    return packet, unpack_drive(value)


def pack_drive(drive: Drive) -> bytes:
    """The drive's own bytes, as the table in README.md shows them."""
    clock_map, plan = drive.clock_map, drive.plan
    change = plan.change if plan else None
    flags = (
        (_ENERGISE if drive.energise else 0)
        | (_HAS_MAP if clock_map else 0)
        | (_HAS_PLAN if plan else 0)
        | (_HAS_CHANGE if change else 0)
        | (_HAS_PERMIT if drive.permit_us is not None else 0)
        | (_HAS_EXPIRY if drive.expiry_us is not None else 0)
        | (_HAS_TARGET if drive.jog_target is not None else 0)
    )
    return _DRIVE.pack(
        drive.session, drive.sequence, drive.mode, flags, drive.stop, NUMBERS[drive.condition],
        drive.output_mask, drive.output_values, drive.full_current,
        *((clock_map.number, clock_map.arm_us, clock_map.joint_us, clock_map.rate_ppb)
          if clock_map else (0, 0, 0, 0)),
        *((plan.number, plan.trajectory, plan.stand_us) if plan else (0, 0, 0)),
        *((change.at_us, change.path_us, change.before_ppm, change.after_ppm)
          if change else (0, 0, 0, 0)),
        drive.permit_us or 0, drive.expiry_us or 0, drive.jog_velocity, drive.homing_number,
        drive.jog_target or 0,
    )  # fmt: skip


def unpack_drive(value: bytes) -> Drive:
    """The drive in its own bytes. Raises DatagramError for values that no drive may have."""
    (session, sequence, mode, flags, stop, condition, mask, values, full_current,
     map_number, map_arm, map_joint, map_rate,
     plan_number, trajectory, stand_us, at_us, path_us, before, after,
     permit_us, expiry_us, jog_velocity, homing_number,
     jog_target) = _DRIVE.unpack(value)  # fmt: skip
    if mode > Mode.HOME or stop > StopLevel.RELEASE or flags & ~_FLAGS:
        raise DatagramError("drive-field", f"mode {mode}, stop {stop}, flags {flags:#x}")
    if flags & _HAS_CHANGE and not (flags & _HAS_PLAN and before <= PPM and after <= PPM):
        raise DatagramError("drive-field", f"a rate change {before} to {after} ppm without plan")
    if flags & _HAS_MAP and abs(map_rate) > 1_000_000:
        raise DatagramError("drive-field", f"a clock map's rate of {map_rate} ppb, 1000000 at most")
    there = {
        _HAS_MAP: (map_arm, map_joint),
        _HAS_PLAN: (stand_us,),
        _HAS_CHANGE: (at_us, path_us),
        _HAS_PERMIT: (permit_us,),
        _HAS_EXPIRY: (expiry_us,),
        _HAS_TARGET: (jog_target,),
    }
    for flag, numbers in there.items():
        if flags & flag and max(abs(number) for number in numbers) > MAX_INTEGER:
            raise DatagramError("drive-field", f"{numbers}, the largest number is {MAX_INTEGER}")
    change = RateChange(at_us, path_us, before, after) if flags & _HAS_CHANGE else None
    return Drive(
        session=session,
        sequence=sequence,
        mode=Mode(mode),
        energise=bool(flags & _ENERGISE),
        stop=StopLevel(stop),
        output_mask=mask,
        output_values=values,
        clock_map=ClockMap(map_number, map_arm, map_joint, map_rate) if flags & _HAS_MAP else None,
        plan=Plan(plan_number, trajectory, stand_us, change) if flags & _HAS_PLAN else None,
        permit_us=permit_us if flags & _HAS_PERMIT else None,
        jog_velocity=jog_velocity,
        jog_target=jog_target if flags & _HAS_TARGET else None,
        expiry_us=expiry_us if flags & _HAS_EXPIRY else None,
        homing_number=homing_number,
        full_current=full_current == 1,
        # A word that came later says nothing here.
        condition=WORDS.get(condition, ConditionWord.NOT_KNOWN),
    )
