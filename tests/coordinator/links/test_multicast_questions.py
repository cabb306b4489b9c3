"""Questions by multicast, answered on real sockets by a responder of others (python-zeroconf)."""

import asyncio
import errno
import secrets
import socket

from zeroconf._protocol.outgoing import DNSOutgoing

from coordinator.core.events import AnsweredMulticast, AskByMulticast, Event, Found
from coordinator.links.discovery import Discovery
from coordinator.links.multicast_questions import NAMES_KEPT, MulticastQuestions
from tests.coordinator.links.test_discovery import HOST, PATIENCE_S, announcer, service
from tests.own import SERVICE_TYPE


async def test_joints_that_were_found_answer_a_question_with_its_number() -> None:
    heard: asyncio.Queue[Event] = asyncio.Queue()
    ids = [secrets.token_hex(6) for _ in range(2)]
    discovery = Discovery(HOST, SERVICE_TYPE, heard.put_nowait)
    stranger = secrets.token_hex(6)

    async with announcer() as zeroconf, asyncio.timeout(PATIENCE_S):
        for k, joint_id in enumerate(ids):
            await zeroconf.async_register_service(service(joint_id, 9_000 + 2 * k))
        await discovery.open()
        try:
            assert discovery.ask_by_multicast(AskByMulticast(6, (stranger,))) is None
            missing = set(ids)
            while missing:
                event = await heard.get()
                if isinstance(event, Found):
                    missing.discard(event.announcement.id)
            asked = discovery.ask_by_multicast(AskByMulticast(7, (*ids, stranger)))
            assert asked is not None
            assert (asked.number, asked.joint_ids) == (7, tuple(ids))
            missing = set(ids)
            while missing:
                answer = await heard.get()
                if isinstance(answer, AnsweredMulticast) and answer.number == 7:
                    assert answer.at_us >= asked.at_us
                    missing.discard(answer.joint_id)
        finally:
            await discovery.close()
    assert discovery.ask_by_multicast(AskByMulticast(8, tuple(ids))) is None


def test_noise_and_names_that_nobody_asked_for_are_passed_over() -> None:
    heard: list[Event] = []
    questions = MulticastQuestions(SERVICE_TYPE, heard.append)
    questions.know("0a1b2c3d4e5f", "elbow-0a1b2c3d4e5f")
    mine, other = service("0a1b2c3d4e5f", 1), service("0a1b2c3d4e60", 1)
    for record in (other.dns_service(), mine.dns_text()):
        message = DNSOutgoing(0x8400, multicast=False, id_=3)
        message.add_answer_at_time(record, 0)
        questions.datagram_received(message.packets()[0], (HOST, 5353))
    question = DNSOutgoing(0, multicast=False, id_=3)
    question.add_answer_at_time(mine.dns_service(), 0)
    for noise in (b"", b"x", bytes(12), question.packets()[0]):
        questions.datagram_received(noise, (HOST, 5353))
    assert heard == []


def test_no_more_names_are_kept_than_joints_there_can_be() -> None:
    heard: list[Event] = []
    questions = MulticastQuestions(SERVICE_TYPE, heard.append)
    for number in range(NAMES_KEPT + 1):
        questions.know(f"{number:012x}", f"joint-{number:012x}")
    for number in (0, 1):
        message = DNSOutgoing(0x8400, multicast=False, id_=3)
        info = service(f"{number:012x}", 1)
        info.name = f"JOINT-{number:012x}.{SERVICE_TYPE}"
        message.add_answer_at_time(info.dns_service(), 0)
        questions.datagram_received(message.packets()[0], (socket.gethostname(), 5353))
    assert [one.joint_id for one in heard if isinstance(one, AnsweredMulticast)] == [f"{1:012x}"]


class Unreachable(asyncio.DatagramTransport):
    """A socket whose network is away: asyncio tells its protocol, and nobody else."""

    def __init__(self, questions: MulticastQuestions) -> None:
        self._questions = questions
        self.away = True

    def sendto(self, data: object, addr: object = None) -> None:
        if self.away:
            self._questions.error_received(OSError(errno.ENETUNREACH, "away"))


def test_what_could_not_be_sent_was_not_asked() -> None:
    questions = MulticastQuestions(SERVICE_TYPE, list[Event]().append)
    questions.know("0a1b2c3d4e5f", "elbow-0a1b2c3d4e5f")
    network = questions._transport = Unreachable(questions)
    assert questions.ask(AskByMulticast(1, ("0a1b2c3d4e5f",))) is None
    network.away = False
    asked = questions.ask(AskByMulticast(2, ("0a1b2c3d4e5f",)))
    assert asked is not None
    assert asked.number == 2
