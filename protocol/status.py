"""The status: all that a joint says of itself in every reply (design section 3).

A reply is an NTP server packet with T2 and T3 in joint time, one extension field 0xF002 with the
status, and a MAC of key identifier and tag.
"""

import struct
from dataclasses import dataclass
from enum import IntEnum, IntFlag
from typing import Final

from protocol import ntp
from protocol.constants import MAX_INTEGER
from protocol.drive import StopLevel
from protocol.errors import DatagramError
from protocol.keys import TAG_BYTES, Direction, seal_datagram, unseal_datagram
from protocol.states import JointState

FIELD_STATUS: Final = 0xF002


class Reason(IntEnum):
    """Why a joint does not comply with the plan it was given."""

    NONE = 0
    LATE = 1
    """The change's instant had passed when the joint could first have complied."""
    NOT_ARMED = 2
    """Not prepared for this trajectory, unhomed, faulted, or moving by something else."""
    ELSEWHERE = 3
    """Beyond the plan's path time; status names where."""
    POINTS_MISSING = 4
    """The buffer does not reach the path time to stand at."""
    NO_MAP = 5
    """No clock map yet, so no arm time."""


class Fault(IntFlag):
    """What a joint finds wrong with itself."""

    NONE = 0
    OVER_TEMPERATURE = 1
    DRIVER = 2
    HALL_SENSOR = 4
    """Homing did not find what it looked for."""
    STEPS_LOST = 8
    """The home sensor switched where homing met no edge."""
    TEMPERATURE_SENSOR = 16
    SUPPLY_LOW = 32

    @property
    def words(self) -> list[str]:
        """The names of the faults in it, as they go over the wire and are told to people."""
        return [(one.name or "").lower().replace("_", "-") for one in self]


@dataclass(frozen=True, slots=True)
class Status:
    """One status. Times of the path in µs, positions in counts (microsteps × 256)."""

    boot: int
    sequence: int
    """Of the newest drive taken."""
    state: JointState
    homed: bool = False
    energised: bool = False
    reduced: bool = False
    """Whether the motor has less current than at rest otherwise, or that has not settled yet."""
    stop: StopLevel = StopLevel.NONE
    """The level latched."""
    plan: int = 0
    """Number of the plan complied with, 0 for none."""
    reason: Reason = Reason.NONE
    permit_us: int | None = None
    """Path time up to which this joint will move; in a ramp, where the ramp began."""
    map_number: int = 0
    remainder_us: int = 0
    position: int = 0
    velocity: int = 0
    path_us: int = 0
    trajectory: int = 0
    """The trajectory loaded, 0 for none."""
    next_index: int = 0
    """Of the point that the buffer lacks next."""
    buffered_us: int = 0
    """Path time of the last point in the buffer."""
    temperature_centi_c: int | None = None
    supply_mv: int | None = None
    fan_percent: int = 0
    rssi_dbm: int = 0
    faults: Fault = Fault.NONE
    inputs: int = 0
    outputs: int = 0
    touch_turn: int = 0
    """Detents turned since boot, signed, modulo 65536."""
    touch_presses: int = 0
    """Short ones since boot, modulo 65536."""
    touch_long_presses: int = 0
    """Since boot, modulo 65536."""
    homing_number: int = 0
    """Of the last homing begun."""
    home_sensor: bool | None = None
    """Whether the home sensor is active; None where the joint does not tell."""


_HOMED, _ENERGISED, _HAS_PERMIT, _HAS_TEMPERATURE, _HAS_SUPPLY = (1 << k for k in range(5))
_HAS_HOME_SENSOR, _HOME_SENSOR, _REDUCED = 1 << 5, 1 << 6, 1 << 7
_FAULTS: Final = sum(Fault)
# By their numbers, which have no gaps: to ask an enumeration takes longer than all the rest.
STATES: Final = tuple(JointState)
STOP_LEVELS: Final = tuple(StopLevel)
REASONS: Final = tuple(Reason)
_STATUS: Final = struct.Struct(">IIBBBBIqIiqiqIIqhHBbHBBhHHI")
STATUS_BYTES: Final = _STATUS.size
REPLY_BYTES: Final = ntp.PACKET_BYTES + ntp.field_bytes(STATUS_BYTES) + 4 + TAG_BYTES


def encode_status(
    status: Status,
    request: ntp.NtpPacket,
    receive_us: float,
    transmit_us: float,
    key: bytes,
) -> bytes:
    """The reply datagram to a request, with T2 and T3 in joint time µs."""
    head = ntp.encode_reply(request, receive_us, transmit_us)
    head += ntp.encode_field(FIELD_STATUS, pack_status(status))
    return seal_datagram(head, Direction.TO_COORDINATOR, key)


def decode_status(data: bytes, key: bytes) -> tuple[ntp.NtpPacket, Status]:
    """The packet and status in a datagram. Raises DatagramError; the tag is checked first."""
    head = unseal_datagram(data, Direction.TO_COORDINATOR, key)
    packet = ntp.decode_packet(head)
    if packet.mode != ntp.MODE_SERVER:
        raise DatagramError("ntp-mode", f"NTP mode {packet.mode} is no reply")
    value = ntp.decode_field(head, ntp.PACKET_BYTES, FIELD_STATUS, STATUS_BYTES)
    if len(head) != ntp.PACKET_BYTES + ntp.field_bytes(STATUS_BYTES):
        raise DatagramError("field-length", f"{len(head)} bytes are more than one status")
    return packet, unpack_status(value)


def pack_status(status: Status) -> bytes:
    """The status's own bytes, as the table in README.md shows them."""
    flags = (
        (_HOMED if status.homed else 0)
        | (_ENERGISED if status.energised else 0)
        | (_HAS_PERMIT if status.permit_us is not None else 0)
        | (_HAS_TEMPERATURE if status.temperature_centi_c is not None else 0)
        | (_HAS_SUPPLY if status.supply_mv is not None else 0)
        | (_HAS_HOME_SENSOR if status.home_sensor is not None else 0)
        | (_HOME_SENSOR if status.home_sensor else 0)
        | (_REDUCED if status.reduced else 0)
    )
    return _STATUS.pack(
        status.boot, status.sequence, status.state, flags, status.stop, status.reason,
        status.plan, status.permit_us or 0, status.map_number, status.remainder_us,
        status.position, status.velocity, status.path_us, status.trajectory, status.next_index,
        status.buffered_us, status.temperature_centi_c or 0, status.supply_mv or 0,
        status.fan_percent, status.rssi_dbm, status.faults, status.inputs, status.outputs,
        status.touch_turn, status.touch_presses, status.touch_long_presses,
        status.homing_number,
    )  # fmt: skip


def unpack_status(value: bytes) -> Status:
    """The status in its own bytes. Raises DatagramError for values that no status may have."""
    (boot, sequence, state, flags, stop, reason, plan, permit_us, map_number, remainder_us,
     position, velocity, path_us, trajectory, next_index, buffered_us, temperature, supply_mv,
     fan_percent, rssi_dbm, faults, inputs, outputs, turn, presses,
     long_presses, homing_number) = _STATUS.unpack(value)  # fmt: skip
    if state >= len(STATES) or stop >= len(STOP_LEVELS) or reason >= len(REASONS):
        raise DatagramError("status-field", f"state {state}, stop {stop}, reason {reason}")
    untold = flags & _HOME_SENSOR and not flags & _HAS_HOME_SENSOR
    if untold or faults & ~_FAULTS or fan_percent > 100:
        raise DatagramError("status-field", f"flags {flags:#x}, faults {faults:#x}")
    numbers = (permit_us if flags & _HAS_PERMIT else 0, position, path_us, buffered_us)
    if max(map(abs, numbers)) > MAX_INTEGER:
        raise DatagramError("status-field", f"{numbers}, the largest number is {MAX_INTEGER}")
    return Status(
        boot=boot,
        sequence=sequence,
        state=STATES[state],
        homed=bool(flags & _HOMED),
        energised=bool(flags & _ENERGISED),
        reduced=bool(flags & _REDUCED),
        stop=STOP_LEVELS[stop],
        plan=plan,
        reason=REASONS[reason],
        permit_us=permit_us if flags & _HAS_PERMIT else None,
        map_number=map_number,
        remainder_us=remainder_us,
        position=position,
        velocity=velocity,
        path_us=path_us,
        trajectory=trajectory,
        next_index=next_index,
        buffered_us=buffered_us,
        temperature_centi_c=temperature if flags & _HAS_TEMPERATURE else None,
        supply_mv=supply_mv if flags & _HAS_SUPPLY else None,
        fan_percent=fan_percent,
        rssi_dbm=rssi_dbm,
        faults=Fault(faults) if faults else Fault.NONE,
        inputs=inputs,
        outputs=outputs,
        touch_turn=turn,
        touch_presses=presses,
        touch_long_presses=long_presses,
        homing_number=homing_number,
        home_sensor=bool(flags & _HOME_SENSOR) if flags & _HAS_HOME_SENSOR else None,
    )
