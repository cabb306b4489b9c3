"""Announcements by multicast DNS as anybody on the network can send them, true or forged.

Built by `dnslib`, which shares no code with what announces and browses. Records and lifetimes as in
RFC 6762 section 10 and protocol/README.md.
"""

import socket
from dataclasses import dataclass, replace
from typing import Final, Self

import dnslib  # type: ignore[import-untyped]

from tests.lab.frames import MDNS_GROUP, MDNS_PORT
from tests.lab.hosts import Host
from tests.own import SERVICE_TYPE

IN: Final = 1
CACHE_FLUSH: Final = 0x8000
"""The top bit of a class: this record is all that there is of its name and type (section 10.2)."""
HOST_S: Final = 120
OTHER_S: Final = 4500
RESPONSE: Final = 0x8400
"""Flags of an authoritative response (RFC 6762 section 18)."""
MDNS: Final = (MDNS_GROUP, MDNS_PORT)


@dataclass(frozen=True, slots=True)
class Announced:
    """What somebody says of a joint."""

    instance: str
    id: str
    address: str
    stream_port: int
    udp_port: int
    server: str
    """Host name, without `.local.`."""

    def but(self, **changes: str | int) -> Self:
        """The same with something else in it."""
        return replace(self, **changes)  # type: ignore[arg-type]

    def packed(self) -> bytes:
        """All records, as a joint announces itself."""
        name, server = f"{self.instance}.{SERVICE_TYPE}", f"{self.server}.local."
        txt = [
            "txtvers=1", f"id={self.id}", "proto=1", "fw=forged 1", "path=/joint",
            f"udp={self.udp_port}",
        ]  # fmt: skip
        return _packed(
            _pointer(name, OTHER_S),
            _record(name, "SRV", dnslib.SRV(0, 0, self.stream_port, server), HOST_S),
            _record(name, "TXT", dnslib.TXT(txt), OTHER_S),
            _record(server, "A", dnslib.A(self.address), HOST_S),
        )

    def goodbye(self) -> bytes:
        """The pointer to it with no time left (section 10.1): who hears it forgets the joint."""
        return _packed(_pointer(f"{self.instance}.{SERVICE_TYPE}", 0))


def pointer(instance: str) -> bytes:
    """Somebody of this name is there; no word of where."""
    return _packed(_pointer(f"{instance}.{SERVICE_TYPE}", OTHER_S))


def multicast(host: Host, *messages: bytes) -> None:
    """Say something to everybody on the network, as a host's own responder would."""
    with host.socket() as out:
        out.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        out.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEPORT, 1)
        out.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, socket.inet_aton(host.address))
        out.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_TTL, 255)
        out.bind((host.address, MDNS_PORT))
        for message in messages:
            out.sendto(message, MDNS)


def _pointer(name: str, ttl_s: int) -> dnslib.RR:
    return dnslib.RR(SERVICE_TYPE, dnslib.QTYPE.PTR, IN, ttl_s, dnslib.PTR(name))


def _record(name: str, kind: str, data: dnslib.RD, ttl_s: int) -> dnslib.RR:
    return dnslib.RR(name, getattr(dnslib.QTYPE, kind), IN | CACHE_FLUSH, ttl_s, data)


def _packed(*records: dnslib.RR) -> bytes:
    message = dnslib.DNSRecord(dnslib.DNSHeader(id=0, bitmap=RESPONSE), rr=list(records))
    return bytes(message.pack())
