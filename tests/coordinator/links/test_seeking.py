"""Answers to the one question for joints: read whole, and noise passed over."""

import socket

from hypothesis import given
from hypothesis import strategies as st
from zeroconf import ServiceInfo
from zeroconf._protocol.outgoing import DNSOutgoing

from coordinator.links.seeking import services
from protocol.discovery import Announcement, parse_txt

SERVICE = "_test._tcp.local."
RESPONSE = 0x8400
"""Flags of an authoritative response (RFC 6762 §18)."""


def info(name: str, port: int = 80, host: str = "192.0.2.7", service: str = SERVICE) -> ServiceInfo:
    """Addresses for documentation (RFC 5737)."""
    return ServiceInfo(
        service,
        f"{name}.{service}",
        addresses=[socket.inet_aton(host)],
        port=port,
        properties=Announcement("0a1b2c3d4e5f", "1", 81).txt(),
        server=f"{name}.local.",
    )


def answer(*infos: ServiceInfo, flags: int = RESPONSE) -> bytes:
    """One message with all records of some services."""
    message = DNSOutgoing(flags)
    for one in infos:
        for record in (one.dns_pointer(), one.dns_service(), one.dns_text(), *one.dns_addresses()):
            message.add_answer_at_time(record, 0)
    (packet,) = message.packets()
    return packet


def test_every_service_that_an_answer_explains_whole_is_found() -> None:
    found = services(answer(info("elbow-1"), info("wrist-2", 90, "192.0.2.8")), SERVICE)
    assert [(one.name, one.port, one.parsed_addresses()) for one in found] == [
        (f"elbow-1.{SERVICE}", 80, ["192.0.2.7"]),
        (f"wrist-2.{SERVICE}", 90, ["192.0.2.8"]),
    ]
    assert parse_txt(found[0].decoded_properties).udp_port == 81


def test_names_count_whatever_their_case() -> None:
    """RFC 6762 §16."""
    whole = info("elbow-1")
    message = DNSOutgoing(RESPONSE)
    message.add_answer_at_time(whole.dns_pointer(), 0)
    shouted = ServiceInfo(
        SERVICE,
        f"ELBOW-1.{SERVICE}",
        port=80,
        properties=whole.properties,
        server="ELBOW-1.LOCAL.",
    )
    message.add_answer_at_time(shouted.dns_service(), 0)
    message.add_answer_at_time(whole.dns_text(), 0)
    for address in whole.dns_addresses():
        message.add_answer_at_time(address, 0)
    (packet,) = message.packets()
    (found,) = services(packet, SERVICE)
    assert found.parsed_addresses() == ["192.0.2.7"]


def test_other_services_and_questions_are_passed_over() -> None:
    assert services(answer(info("printer", service="_ipp._tcp.local.")), SERVICE) == []
    assert services(answer(info("elbow-1"), flags=0), SERVICE) == []


@given(noise=st.binary(max_size=600))
def test_noise_is_no_service(noise: bytes) -> None:
    assert services(noise, SERVICE) == []


@given(data=st.data())
def test_a_damaged_answer_is_a_service_or_none_and_never_an_error(data: st.DataObject) -> None:
    packet = bytearray(answer(info("elbow-1")))
    for _ in range(data.draw(st.integers(1, 4))):
        packet[data.draw(st.integers(0, len(packet) - 1))] = data.draw(st.integers(0, 255))
    assert len(services(bytes(packet), SERVICE)) <= 1
