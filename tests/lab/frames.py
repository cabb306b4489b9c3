"""Ethernet frames with IPv4 in them, read and forged: UDP (RFC 768) and TCP (RFC 9293)."""

import socket
import struct
from dataclasses import dataclass
from typing import Final

ETHERTYPE_IPV4: Final = 0x0800
ETHERNET_BYTES: Final = 14
IPV4_BYTES: Final = 20
UDP_BYTES: Final = 8
TCP_BYTES: Final = 20
TCP: Final = 6
UDP: Final = 17
MDNS_GROUP: Final = "224.0.0.251"
MDNS_PORT: Final = 5353
MDNS_MAC: Final = "01:00:5e:00:00:fb"
"""Of that group (RFC 1112 section 6.4)."""
SYN: Final = 0x02
RST: Final = 0x04
ACK: Final = 0x10

Place = tuple[str, int]
"""An IPv4 address and a port."""


@dataclass(frozen=True, slots=True)
class Packet:
    """What a frame carries from one place to another."""

    source_mac: bytes
    target_mac: bytes
    protocol: int
    source: Place
    target: Place
    body: bytes
    """Of UDP what follows its header, of TCP the header and all that follows."""

    @property
    def acknowledged(self) -> int | None:
        """Of TCP: which byte the source expects next, None where it does not say."""
        (number,) = struct.unpack_from("!I", self.body, 8)
        return int(number) if self.body[13] & ACK else None

    @property
    def begins(self) -> bool:
        """Of TCP: whether it is a client's first of a connection."""
        return int(self.body[13]) & (SYN | ACK) == SYN

    @property
    def resets(self) -> bool:
        """Of TCP: whether it ends the connection at once."""
        return bool(self.body[13] & RST)


def read(frame: bytes) -> Packet | None:
    """The packet in a frame, None where it is neither UDP nor TCP by IPv4, or in fragments."""
    if len(frame) < ETHERNET_BYTES + IPV4_BYTES:
        return None
    if struct.unpack_from("!H", frame, 12) != (ETHERTYPE_IPV4,):
        return None
    header = ETHERNET_BYTES + 4 * (frame[14] & 15)
    length, fragment, protocol = struct.unpack_from("!2xH2xHxB", frame, ETHERNET_BYTES)
    if fragment & 0x3FFF or protocol not in (TCP, UDP):
        return None
    start = header + (UDP_BYTES if protocol == UDP else 0)
    if len(frame) < (start if protocol == UDP else header + TCP_BYTES):
        return None
    ports = struct.unpack_from("!HH", frame, header)
    return Packet(
        frame[6:12],
        frame[:6],
        protocol,
        (socket.inet_ntoa(frame[26:30]), ports[0]),
        (socket.inet_ntoa(frame[30:34]), ports[1]),
        frame[start : ETHERNET_BYTES + length],
    )


def mac(text: str) -> bytes:
    """A MAC address as it stands in a frame."""
    return bytes.fromhex(text.replace(":", ""))


def udp_frame(
    source: Place, target: Place, body: bytes, source_mac: bytes, target_mac: bytes
) -> bytes:
    """A UDP datagram; without a checksum of its own, as RFC 768 allows."""
    header = struct.pack("!HHHH", source[1], target[1], UDP_BYTES + len(body), 0)
    return _ipv4_frame(source[0], target[0], UDP, header + body, source_mac, target_mac)


def reset_of(packet: Packet) -> bytes:
    """The reset that ends a TCP connection for the one who sent this packet.

    It seems to come from the other end and has the number that is expected next: a kernel takes no
    other (RFC 5961 section 3.2).
    """
    source, target = packet.target, packet.source
    expected = packet.acknowledged or 0
    header = struct.pack(
        "!HHIIBBHHH", source[1], target[1], expected, 0, TCP_BYTES // 4 << 4, RST, 0, 0, 0
    )
    ends = socket.inet_aton(source[0]) + socket.inet_aton(target[0])
    summed = checksum(ends + struct.pack("!BBH", 0, TCP, TCP_BYTES) + header)
    whole = header[:16] + struct.pack("!H", summed) + header[18:]
    return _ipv4_frame(source[0], target[0], TCP, whole, packet.target_mac, packet.source_mac)


def checksum(data: bytes) -> int:
    """The Internet checksum (RFC 1071)."""
    if len(data) % 2:
        data += b"\0"
    total: int = sum(struct.unpack(f"!{len(data) // 2}H", data))
    while total >> 16:
        total = (total & 0xFFFF) + (total >> 16)
    return ~total & 0xFFFF


def _ipv4_frame(
    source: str, target: str, protocol: int, body: bytes, source_mac: bytes, target_mac: bytes
) -> bytes:
    ends = socket.inet_aton(source) + socket.inet_aton(target)
    start = struct.pack("!BBHHHBB", 0x45, 0, IPV4_BYTES + len(body), 0, 0x4000, 255, protocol)
    summed = checksum(start + b"\0\0" + ends)
    header = start + struct.pack("!H", summed) + ends
    return target_mac + source_mac + struct.pack("!H", ETHERTYPE_IPV4) + header + body
