"""Drive and status: every value round trips, and no bytes raise anything but DatagramError."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocol import ntp
from protocol.clockmap import ClockMap
from protocol.constants import MAX_DATAGRAM_BYTES
from protocol.drive import (
    DRIVE_BYTES,
    FIELD_DRIVE,
    REQUEST_BYTES,
    Drive,
    Plan,
    decode_drive,
    encode_drive,
    pack_drive,
    unpack_drive,
)
from protocol.errors import DatagramError
from protocol.keys import Direction, seal_datagram
from protocol.pathtime import RateChange
from protocol.states import JointState
from protocol.status import (
    FIELD_STATUS,
    REASONS,
    REPLY_BYTES,
    STATES,
    STATUS_BYTES,
    STOP_LEVELS,
    Status,
    decode_status,
    encode_status,
    pack_status,
    unpack_status,
)
from tests.protocol.strategies import U64, drives, statuses

KEY = bytes(range(32))


@given(drives, U64)
def test_drive_round_trips(drive: Drive, transmit: int) -> None:
    data = encode_drive(drive, transmit, KEY)
    assert len(data) == REQUEST_BYTES <= MAX_DATAGRAM_BYTES
    packet, found = decode_drive(data, KEY)
    assert found == drive
    assert (packet.mode, packet.transmit) == (ntp.MODE_CLIENT, transmit)


@given(statuses, U64, st.integers(0, 2**50), st.integers(0, 10**6))
def test_status_round_trips(status: Status, transmit: int, receive_us: int, took_us: int) -> None:
    request = ntp.NtpPacket(ntp.MODE_CLIENT, transmit)
    data = encode_status(status, request, receive_us, receive_us + took_us, KEY)
    assert len(data) == REPLY_BYTES <= MAX_DATAGRAM_BYTES
    packet, found = decode_status(data, KEY)
    assert found == status
    assert packet.origin == transmit
    assert packet.receive == ntp.timestamp(receive_us)
    assert packet.transmit == ntp.timestamp(receive_us + took_us)


def test_state_stop_and_reason_are_found_by_their_numbers() -> None:
    for table in (STATES, STOP_LEVELS, REASONS):
        assert list(map(int, table)) == list(range(len(table)))


def test_fields_lie_in_the_range_for_experiments_and_on_whole_words() -> None:
    """RFC 9748 §7 leaves 0xF000 to 0xFFFF to experiments; RFC 7822 §3 asks for whole words."""
    assert 0xF000 <= FIELD_DRIVE <= 0xFFFF
    assert 0xF000 <= FIELD_STATUS <= 0xFFFF
    assert ntp.field_bytes(DRIVE_BYTES) % 4 == ntp.field_bytes(STATUS_BYTES) % 4 == 0
    # RFC 7822 §7.5.1.4: a field before a MAC is at least 16 bytes.
    assert min(DRIVE_BYTES, STATUS_BYTES) >= 16


@given(st.binary(min_size=DRIVE_BYTES, max_size=DRIVE_BYTES))
def test_any_drive_bytes_give_a_drive_or_a_drive_field_error(value: bytes) -> None:
    code = "drive-field"
    try:
        drive = unpack_drive(value)
        assert unpack_drive(pack_drive(drive)) == drive
    except DatagramError as error:
        code = error.code
    assert code == "drive-field"


@given(st.binary(min_size=STATUS_BYTES, max_size=STATUS_BYTES))
def test_any_status_bytes_give_a_status_or_a_status_field_error(value: bytes) -> None:
    code = "status-field"
    try:
        status = unpack_status(value)
        assert unpack_status(pack_status(status)) == status
    except DatagramError as error:
        code = error.code
    assert code == "status-field"


@given(drives, st.integers(0, DRIVE_BYTES - 1), st.integers(0, 255))
def test_a_mutated_drive_gives_a_drive_or_a_drive_field_error(
    drive: Drive, place: int, byte: int
) -> None:
    value = bytearray(pack_drive(drive))
    value[place] = byte
    code = "drive-field"
    try:
        unpack_drive(bytes(value))
    except DatagramError as error:
        code = error.code
    assert code == "drive-field"


@given(statuses, st.integers(0, STATUS_BYTES - 1), st.integers(0, 255))
def test_a_mutated_status_gives_a_status_or_a_status_field_error(
    status: Status, place: int, byte: int
) -> None:
    value = bytearray(pack_status(status))
    value[place] = byte
    code = "status-field"
    try:
        unpack_status(bytes(value))
    except DatagramError as error:
        code = error.code
    assert code == "status-field"


@given(st.binary(max_size=MAX_DATAGRAM_BYTES))
def test_arbitrary_sealed_bytes_raise_only_datagram_errors(head: bytes) -> None:
    with pytest.raises(DatagramError):
        decode_drive(seal_datagram(head, Direction.TO_JOINT, KEY), KEY)
    with pytest.raises(DatagramError):
        decode_status(seal_datagram(head, Direction.TO_COORDINATOR, KEY), KEY)


@given(drives, st.integers(0, REQUEST_BYTES))
def test_a_cut_datagram_is_refused_also_with_a_right_tag(drive: Drive, length: int) -> None:
    head = encode_drive(drive, 1, KEY)[: min(length, REQUEST_BYTES - 21)]
    with pytest.raises(DatagramError):
        decode_drive(seal_datagram(head, Direction.TO_JOINT, KEY), KEY)


def test_drive_bytes_left_over_or_of_another_field_are_refused() -> None:
    packet = ntp.encode_request(1)
    drive = ntp.encode_field(FIELD_DRIVE, pack_drive(Drive(1, 1)))
    for head, code in [
        (packet + drive + ntp.encode_field(0xF003, b"more"), "field-length"),
        (packet + ntp.encode_field(0xF003, pack_drive(Drive(1, 1))), "field-type"),
        (ntp.encode_reply(ntp.NtpPacket(3, 1), 0, 0) + drive, "ntp-mode"),
        (packet, "field-length"),
    ]:
        with pytest.raises(DatagramError) as caught:
            decode_drive(seal_datagram(head, Direction.TO_JOINT, KEY), KEY)
        assert caught.value.code == code


def test_a_drive_is_no_status_and_a_status_no_drive() -> None:
    request = encode_drive(Drive(1, 1), 1, KEY)
    reply = encode_status(Status(1, 1, JointState.READY), ntp.NtpPacket(3, 1), 0, 0, KEY)
    with pytest.raises(DatagramError):
        decode_status(request, KEY)
    with pytest.raises(DatagramError):
        decode_drive(reply, KEY)


@pytest.mark.parametrize(
    "drive",
    [
        Drive(1, 1, clock_map=ClockMap(1, 0, 0, 1_000_001)),
        Drive(1, 1, clock_map=ClockMap(1, 0, 0, -1_000_001)),
        Drive(1, 1, plan=Plan(1, 1, 0, RateChange(0, 0, 1_000_001, 0))),
        Drive(1, 1, plan=Plan(1, 1, 0, RateChange(0, 0, 0, 1_000_001))),
    ],
)
def test_rates_out_of_range_are_refused(drive: Drive) -> None:
    with pytest.raises(DatagramError) as caught:
        unpack_drive(pack_drive(drive))
    assert caught.value.code == "drive-field"


def test_fields_that_are_not_there_are_ignored_whatever_their_bytes() -> None:
    """A sender leaves zeros there; a receiver looks at the flags alone."""
    value = bytearray(b"\xff" * DRIVE_BYTES)
    value[12], value[13], value[14] = 0, 0, 0
    drive = unpack_drive(bytes(value))
    assert (drive.clock_map, drive.plan, drive.permit_us, drive.expiry_us) == (None,) * 4
