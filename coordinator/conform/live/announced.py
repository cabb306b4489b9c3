"""What the joint announces by DNS-SD."""

from typing import Final

from coordinator.conform.bench import Bench
from coordinator.conform.check import Section, Wrong, equal, require
from coordinator.conform.heard import Heard, answers_one_shot
from protocol.discovery import parse_txt
from protocol.errors import WireError

DISCOVERY: Final = Section("discovery")
_TTLS_S: Final = {"PTR": 4500, "SRV": 120, "TXT": 4500, "A": 120}


def _heard(bench: Bench) -> Heard:
    found = bench.target.heard
    if found is None:
        raise Wrong(
            f"an announcement of {bench.place.joint_id} on {bench.target.interface}", "none"
        )
    return found


@DISCOVERY.check("announced", "The joint announces the service with its id.")
async def announced(bench: Bench) -> None:
    _heard(bench)


@DISCOVERY.check("txt", "Its TXT record has all six keys, each as the page has it.")
async def txt(bench: Bench) -> None:
    try:
        parse_txt(_heard(bench).txt)
    except WireError as error:
        raise Wrong("a TXT record as the page has it", f"{error.code}: {error.message}") from error


@DISCOVERY.check("txt-order", "The TXT record's keys stand in the page's order, txtvers first.")
async def txt_order(bench: Bench) -> None:
    known = ["txtvers", "id", "proto", "fw", "path", "udp"]
    found = [key.lower() for key, _ in _heard(bench).pairs if key.lower() in known]
    equal("keys", known, found)


@DISCOVERY.check("version", "proto names version 1 of the protocol.")
async def version(bench: Bench) -> None:
    equal("proto", "1", _heard(bench).txt.get("proto"))


@DISCOVERY.check("address", "It announces the IPv4 address and port at which it answers.")
async def address(bench: Bench) -> None:
    heard = _heard(bench)
    require(
        bench.place.host in heard.addresses,
        f"an A record with {bench.place.host}",
        ", ".join(heard.addresses) or "none",
    )
    equal("port", bench.place.port, heard.port)


@DISCOVERY.check("agrees", "Announcement and welcome name the same id, firmware and UDP port.")
async def agrees(bench: Bench) -> None:
    found, welcome = _heard(bench).txt, bench.welcome.welcome
    equal("id", found.get("id"), welcome.id)
    equal("firmware", found.get("fw"), welcome.firmware)
    equal("UDP port", found.get("udp"), str(welcome.udp))


@DISCOVERY.check("ttl", "PTR and TXT live for 4500 s, SRV and A for 120 s.")
async def ttl(bench: Bench) -> None:
    equal("times to live", _TTLS_S, _heard(bench).ttls_s)


@DISCOVERY.check("one-shot", "A question from another port than 5353 is answered to there.")
async def one_shot(bench: Bench) -> None:
    target, heard = bench.target, _heard(bench)
    answers = await answers_one_shot(target.interface, target.service_type, heard.instance)
    require(answers, "an answer to a one-shot question", "none to 3")
