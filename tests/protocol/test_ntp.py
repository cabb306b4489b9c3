"""The packet is RFC 5905's, bit for bit, and its decoders raise nothing undocumented."""

import struct

import ntplib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocol import ntp
from protocol.errors import DatagramError
from tests.protocol.strategies import U64

JOINT_US = st.integers(0, 2**50)


# RFC 5905 §7.3, figure 8: LI 2 bits, VN 3, Mode 3, Stratum 8, Poll 8, Precision 8; root delay,
# root dispersion, reference ID 32 each; reference, origin, receive, transmit timestamps 64 each.
@given(U64)
def test_request_has_the_layout_of_a_client_packet(transmit: int) -> None:
    data = ntp.encode_request(transmit)
    assert len(data) == 48
    bits = f"{int.from_bytes(data):0384b}"
    assert (bits[0:2], bits[2:5], bits[5:8]) == ("00", "100", "011")
    assert int(bits[8:16], 2) == 0
    assert bits[320:384] == f"{transmit:064b}"
    assert int(bits[32:320], 2) == 0


@given(U64, JOINT_US, st.integers(0, 10**6), st.integers(1, 4))
def test_reply_has_the_layout_of_a_server_packet_and_echoes_the_origin(
    transmit: int, receive_us: int, took_us: int, version: int
) -> None:
    request = ntp.NtpPacket(ntp.MODE_CLIENT, transmit, version=version)
    data = ntp.encode_reply(request, receive_us, receive_us + took_us)
    bits = f"{int.from_bytes(data):0384b}"
    assert (bits[0:2], int(bits[2:5], 2), bits[5:8]) == ("00", version, "100")
    assert 1 <= int(bits[8:16], 2) <= 15
    assert bits[192:256] == f"{transmit:064b}"
    receive, sent = int(bits[256:320], 2), int(bits[320:384], 2)
    assert receive != 0
    assert receive >> 32 == (receive_us + 1_000_000) // 1_000_000 or receive & 0xFFFFFFFF < 2**16
    assert ntp.joint_time_us(sent) - ntp.joint_time_us(receive) == pytest.approx(took_us, abs=1.0)


def test_another_implementation_reads_the_reply() -> None:
    """The package ntplib 0.4 unpacks our reply and finds what was put in."""
    data = ntp.encode_reply(ntp.NtpPacket(3, 1 << 63), 2_500_000, 2_500_250)
    packet = ntplib.NTPPacket()
    packet.from_data(data)
    assert (packet.leap, packet.version, packet.mode, packet.stratum) == (0, 4, 4, 1)
    assert packet.precision == -20
    assert packet.ref_id == int.from_bytes(b"UNIS")
    assert packet.orig_timestamp == 2.0**31
    assert packet.recv_timestamp == pytest.approx(3.5, abs=1e-9)
    assert packet.tx_timestamp == pytest.approx(3.50025, abs=1e-9)


def test_another_implementations_request_is_read() -> None:
    data = ntplib.NTPPacket(version=3, mode=3, tx_timestamp=3_900_000_000.5).to_data()
    packet = ntp.decode_packet(data)
    assert (packet.version, packet.mode) == (3, ntp.MODE_CLIENT)
    assert packet.transmit == (3_900_000_000 << 32) + (1 << 31)


# RFC 5905 §6: 32 bits of seconds, 32 of fraction; zero is the invalid timestamp.
@pytest.mark.parametrize(
    ("joint_us", "stamp"),
    [
        (0, 1 << 32),
        (500_000, (1 << 32) + (1 << 31)),
        (1, (1 << 32) + 4295),
        (3_600_000_000, 3601 << 32),
        # 1,000 hours and 1 µs: nearer to 4295 than to 4294, as after 1 µs.
        (3_600_000_000_001, (3_600_001 << 32) + 4295),
    ],
)
def test_timestamp_is_fixed_point_seconds_one_later_than_the_boot(
    joint_us: int, stamp: int
) -> None:
    assert ntp.timestamp(joint_us) == stamp


@given(st.integers(0, 2**50))
def test_timestamp_returns_to_the_same_microsecond(joint_us: int) -> None:
    assert ntp.joint_time_us(ntp.timestamp(joint_us)) == pytest.approx(joint_us, abs=0.3)
    assert round(ntp.joint_time_us(ntp.timestamp(joint_us))) == joint_us


@given(st.integers(0, 0xFFFF), st.binary(max_size=200), st.binary(max_size=20))
def test_field_round_trips_with_padding_to_four_bytes(kind: int, value: bytes, lead: bytes) -> None:
    field = ntp.encode_field(kind, value)
    # RFC 7822 §3: type, length of the whole in bytes, value, padding to a word.
    assert len(field) % 4 == 0
    assert struct.unpack_from(">HH", field) == (kind, len(field))
    assert ntp.decode_field(lead + field, len(lead), kind, len(value)) == value
    assert len(field) == ntp.field_bytes(len(value))


@given(st.binary(max_size=47))
def test_short_packet_is_refused(data: bytes) -> None:
    with pytest.raises(DatagramError) as caught:
        ntp.decode_packet(data)
    assert caught.value.code == "ntp-length"


@pytest.mark.parametrize("first", [v << 3 | m for v in range(8) for m in range(8)])
def test_only_client_and_server_packets_of_versions_one_to_four_are_read(first: int) -> None:
    data = bytes((first,)) + b"\0" * 47
    if 1 <= first >> 3 <= 4 and first & 7 in (3, 4):
        assert ntp.decode_packet(data).mode == first & 7
    else:
        with pytest.raises(DatagramError, match="is not served here"):
            ntp.decode_packet(data)
