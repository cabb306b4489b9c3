"""How the joint in C announces itself, message by message: RFC 6762 and 6763.

Messages are written and read by python-zeroconf. Times are µs.
"""

import itertools
import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from zeroconf import (  # type: ignore[attr-defined]
    DNSAddress,
    DNSIncoming,
    DNSOutgoing,
    DNSPointer,
    DNSQuestion,
    DNSRecord,
    DNSService,
    DNSText,
)

from tests.joint_c.lines import Lines

SERVICE: Final = "_unisono-joint._tcp.local."
LABEL: Final = "elbow-0a1b2c3d4e5f"
NAME: Final = f"{LABEL}.{SERVICE}"
HOST: Final = "0a1b2c3d4e5f-4242.local."
TEXT: Final = (
    *("txtvers=1", "id=0a1b2c3d4e5f", "proto=1", "fw=test-1", "path=/joint", "udp=4242"),
)
TXT_BYTES: Final = b"".join(bytes([len(text)]) + text.encode() for text in TEXT)
QUERY, RESPONSE = 0x0000, 0x8400
A, PTR, TXT, SRV, ANY, IN, FLUSH = 1, 12, 16, 33, 255, 1, 0x8000
MDNS: Final = 5353
S: Final = 1_000_000


@dataclass(slots=True)
class Sent:
    """A datagram that it sent: to the port of a one-shot question, or 0 for the group."""

    port: int
    message: DNSIncoming

    @property
    def records(self) -> set[tuple[int, int]]:
        """Type and TTL of each record."""
        return {(one.type, round(one.ttl)) for one in self.message.answers()}


class Announced:
    """The program, and what time it is."""

    def __init__(self, program: Path, *, port: int = 1234, random: int = 7) -> None:
        self.now = 10.0 * S
        self.answer: dict[str, Any] = {}
        self._program = Lines(program, "utf-8")
        service = SERVICE.removesuffix(".local.")
        self._tell("begin", service, LABEL, HOST.split(".")[0], 0x7F000001, port, random, *TEXT)

    def until_out(self) -> list[Sent]:
        """All that it sends until it rests, announced."""
        sent = []
        while self.answer["next"] is not None:
            sent += self.go_on()
        return sent

    def go_on(self) -> list[Sent]:
        """What it sends when it next wants to be asked."""
        self.now = self.answer["next"]
        return self._tell("poll")

    def later(self, us: float) -> list[Sent]:
        self.now += us
        return self._tell("poll")

    def take(self, data: bytes, port: int = MDNS) -> list[Sent]:
        return self._tell("take", port, data.hex())

    def ask(
        self, *questions: tuple[str, int], known: tuple[DNSRecord, ...] = (), port: int = MDNS
    ) -> list[Sent]:
        return self.take(query(*questions, known=known), port)

    def end(self) -> list[Sent]:
        return self._tell("end")

    def close(self) -> None:
        """End the program; anything that it left undefined on the way is an error."""
        assert self._program.end() == 0

    def _tell(self, what: str, *words: object) -> list[Sent]:
        line = " ".join(map(str, (what, self.now, *words)))
        self.answer = json.loads(self._program.line(line))
        return [Sent(port, DNSIncoming(bytes.fromhex(raw))) for port, raw in self.answer["sent"]]


def query(
    *questions: tuple[str, int],
    known: tuple[DNSRecord, ...] = (),
    probed: tuple[DNSRecord, ...] = (),
) -> bytes:
    message = DNSOutgoing(QUERY)
    for name, kind in questions:
        message.add_question(DNSQuestion(name, kind, IN))
    for record in (*known, *probed):
        message.add_answer_at_time(record, 0)
    packet = message.packets()[0]
    # The library takes no record but a PTR as an authority: here a probe's are counted as that.
    return packet if known else packet[:6] + packet[8:10] + packet[6:8] + packet[10:]


def response(*records: DNSRecord) -> bytes:
    message = DNSOutgoing(RESPONSE)
    for record in records:
        message.add_answer_at_time(record, 0)
    return message.packets()[0]


def srv(port: int = 1234, host: str = HOST) -> DNSService:
    return DNSService(NAME, SRV, IN | FLUSH, 120, 0, 0, port, host)


def txt(text: bytes = TXT_BYTES) -> DNSText:
    return DNSText(NAME, TXT, IN | FLUSH, 4500, text)


def ptr(ttl: int = 4500) -> DNSPointer:
    return DNSPointer(SERVICE, PTR, IN, ttl, NAME)


@pytest.fixture
def fresh(joint_build: Path) -> Iterator[Announced]:
    """One that has yet to send its first probe."""
    made = Announced(joint_build / "announce")
    yield made
    made.close()


@pytest.fixture
def settled(fresh: Announced) -> Announced:
    """One that is announced, and rests."""
    fresh.until_out()
    fresh.now += 10 * S
    return fresh


def test_three_probes_a_quarter_of_a_second_apart_go_ahead_of_what_it_announces(
    fresh: Announced,
) -> None:
    begun = fresh.now
    probes = []
    while not fresh.answer["out"]:
        found = fresh.go_on()
        probes.append((fresh.now, found[0].message))
    announced = probes.pop()
    assert [round(b - a) for (a, _), (b, _) in itertools.pairwise(probes)] == [250_000] * 2
    assert 0 <= probes[0][0] - begun <= 250_000  # RFC 6762 8.1: at random
    assert announced[0] - probes[-1][0] == 250_000
    for _, probe in probes:
        assert [(one.name, one.type) for one in probe.questions] == [(NAME, ANY)]
        assert {one.type for one in probe.answers()} == {SRV, TXT}  # of its authority section
        assert probe.is_query()
        assert probe.num_authorities == 2
    assert fresh.answer["label"] == LABEL


def test_what_it_announces_are_the_records_of_the_page(fresh: Announced) -> None:
    announced = [one for one in fresh.until_out() if one.message.is_response()]
    assert len(announced) >= 2  # RFC 6762 8.3
    for one in announced:
        assert one.port == 0
        assert one.records == {(PTR, 4500), (SRV, 120), (TXT, 4500), (A, 120)}
        by_type = {record.type: record for record in one.message.answers()}
        pointer, text = by_type[PTR], by_type[TXT]
        assert isinstance(pointer, DNSPointer)
        assert pointer.alias == NAME
        service = by_type[SRV]
        assert isinstance(service, DNSService)
        assert (service.name, service.port, service.server) == (NAME, 1234, HOST)
        assert isinstance(text, DNSText)
        assert text.text == TXT_BYTES
        address = by_type[A]
        assert isinstance(address, DNSAddress)
        assert (address.name, address.address) == (HOST, bytes([127, 0, 0, 1]))
        assert {kind for kind, record in by_type.items() if record.unique} == {SRV, TXT, A}


def test_who_answers_to_the_name_keeps_it(fresh: Announced) -> None:
    fresh.go_on()
    fresh.take(response(srv(port=99)))
    assert fresh.answer["label"] == f"{LABEL}-2"
    fresh.go_on()
    other = DNSText(f"{LABEL}-2.{SERVICE}", TXT, IN | FLUSH, 4500, b"\x03a=b")
    fresh.take(response(other))
    assert fresh.answer["label"] == f"{LABEL}-3"
    last = fresh.until_out()[-1]
    assert {record.name for record in last.message.answers()} >= {f"{LABEL}-3.{SERVICE}"}


@pytest.mark.parametrize(
    ("theirs", "waits"),
    [
        ((srv(port=1235), txt()), True),  # the later data wins (RFC 6762 8.2)
        ((srv(port=1233), txt()), False),
        ((srv(port=1), txt(TXT_BYTES + b"\x00")), True),  # the text goes first, by its type
        ((srv(port=9999), txt(b"\x00")), False),
        ((srv(), txt()), False),  # its own, come back
        ((txt(),), False),  # fewer, else the same
        ((srv(),), True),  # begins with a higher type
    ],
)
def test_of_two_that_ask_for_one_name_at_once_the_later_data_wins(
    fresh: Announced, theirs: tuple[DNSRecord, ...], waits: bool
) -> None:
    fresh.go_on()
    fresh.take(query((NAME, ANY), probed=theirs))
    waits_us = fresh.answer["next"] - fresh.now
    assert waits_us == (S if waits else 250_000)
    assert fresh.answer["label"] == LABEL


@pytest.mark.parametrize(
    ("name", "kind", "answers", "along"),
    [
        (SERVICE, PTR, {PTR}, {SRV, TXT, A}),
        (SERVICE.upper(), PTR, {PTR}, {SRV, TXT, A}),
        (NAME, SRV, {SRV}, {A}),
        (NAME, TXT, {TXT}, set()),
        (NAME, ANY, {SRV, TXT}, {A}),
        (HOST, A, {A}, set()),
        ("_services._dns-sd._udp.local.", PTR, {PTR}, set()),
    ],
)
def test_a_question_is_answered_once_with_what_is_best_sent_along(
    settled: Announced, name: str, kind: int, answers: set[int], along: set[int]
) -> None:
    asked = settled.now
    sent = settled.ask((name, kind)) or settled.go_on()
    # At once where nobody else can answer, else 20 to 120 ms later (RFC 6762 6).
    assert (
        (20_000 if PTR in answers else 0)
        <= settled.now - asked
        <= (120_000 if PTR in answers else 0)
    )
    (one,) = sent
    assert one.port == 0
    assert {record.type for record in one.message.answers()} == answers | along
    assert one.message.num_answers == len(answers)
    assert settled.answer["next"] is None


@pytest.mark.parametrize("question", [(NAME, 28), ("nose.local.", A), (SERVICE, SRV)])
def test_what_it_does_not_have_is_not_answered(
    settled: Announced, question: tuple[str, int]
) -> None:
    assert settled.ask(question) == []
    assert settled.answer["next"] is None


def test_a_record_is_not_multicast_again_within_a_second(settled: Announced) -> None:
    (first,) = settled.ask((NAME, TXT))
    begun = settled.now
    assert settled.later(1_000) == []
    assert settled.ask((NAME, TXT)) == []
    (again,) = settled.go_on()
    assert settled.now - begun == S
    assert first.records == again.records == {(TXT, 4500)}


def test_a_probe_is_answered_sooner(settled: Announced) -> None:
    settled.ask((NAME, ANY))
    settled.later(251_000)
    (one,) = settled.take(query((NAME, ANY), probed=(srv(port=9),)))
    assert {SRV, TXT} <= {record.type for record in one.message.answers()}


@pytest.mark.parametrize(("ttl", "answered"), [(4500, False), (2250, False), (2249, True)])
def test_who_knows_the_answer_well_enough_gets_none(
    settled: Announced, ttl: int, answered: bool
) -> None:
    settled.ask((SERVICE, PTR), known=(ptr(ttl),))
    assert (settled.answer["next"] is not None) == answered


def test_a_one_shot_question_is_answered_straight_back(settled: Announced) -> None:
    asked = bytearray(query((SERVICE, PTR)))
    asked[:2] = b"\x12\x34"
    (one,) = settled.take(bytes(asked), port=40_000)
    assert (one.port, one.message.id) == (40_000, 0x1234)
    assert [(question.name, question.type) for question in one.message.questions] == [
        (SERVICE, PTR)
    ]
    assert {record.type for record in one.message.answers()} == {PTR, SRV, TXT, A}
    # RFC 6762 6.7: at most 10 s, and no cache-flush bit.
    assert all(record.ttl <= 10 and not record.unique for record in one.message.answers())
    assert settled.answer["next"] is None


def test_somebody_who_claims_its_name_later_makes_it_ask_again(settled: Announced) -> None:
    settled.take(response(srv(port=99)), port=MDNS)
    assert not settled.answer["out"]
    settled.take(response(srv(port=99)))
    assert settled.answer["label"] == f"{LABEL}-2"
    settled.until_out()
    assert settled.answer["out"]


@pytest.mark.parametrize(
    "record", [srv(), txt(), DNSService(NAME, SRV, IN | FLUSH, 0, 0, 0, 99, HOST)]
)
def test_its_own_words_and_goodbyes_of_others_are_no_claim(
    settled: Announced, record: DNSRecord
) -> None:
    settled.take(response(record))
    assert settled.answer["out"]


def test_an_answer_from_another_port_counts_nothing(settled: Announced) -> None:
    settled.take(response(srv(port=99)), port=40_000)
    assert settled.answer["out"]


def test_at_the_end_it_says_goodbye(settled: Announced) -> None:
    (one,) = settled.end()
    assert one.records == {(PTR, 0), (SRV, 0), (TXT, 0), (A, 0)}
    assert settled.answer["next"] is None


def test_one_that_ends_before_it_is_announced_says_nothing(fresh: Announced) -> None:
    fresh.go_on()
    assert fresh.end() == []


_GOOD = (
    query((SERVICE, PTR), (NAME, ANY), known=(ptr(),)),
    query((NAME, ANY), probed=(srv(port=9), txt(b"\x00"))),
    response(srv(), txt(), ptr()),
)


@settings(
    max_examples=300, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None
)
@given(
    good=st.sampled_from(_GOOD),
    cut=st.integers(0, 400),
    changes=st.lists(st.tuples(st.integers(0, 399), st.integers(0, 255)), max_size=4),
    junk=st.binary(max_size=40),
)
def test_noise_leaves_it_as_sound_as_before(
    settled: Announced, good: bytes, cut: int, changes: list[tuple[int, int]], junk: bytes
) -> None:
    data = bytearray(good[:cut] + junk)
    for at, value in changes:
        if at < len(data):
            data[at] = value
    settled.now += S
    settled.take(bytes(data))
    for _ in range(40):
        if settled.answer["next"] is None:
            break
        settled.go_on()
    assert settled.answer["out"]
