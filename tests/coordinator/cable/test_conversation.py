"""What may answer at a port, and what is said of it."""

import random
from collections.abc import Callable
from itertools import count

import pytest

from coordinator.cable.conversation import ATTEMPTS, Conversation
from coordinator.cable.errors import CableError, Trouble
from coordinator.cable.port import Port
from protocol.cable.frames import Decoder, Frame, encode
from protocol.cable.requests import ANSWER, REFUSED, Kind, Refusal
from tests.coordinator.cable.boards import WHO, Answers, board, cable, usual


def trouble_with(answers: Answers) -> CableError:
    with cable(answers) as path, Port(path) as port, pytest.raises(CableError) as caught:
        Conversation(port).who()
    assert str(path) in str(caught.value)
    return caught.value


def test_board_says_who_it_is_and_how_its_network_is() -> None:
    with cable(board(usual)) as path, Port(path) as port:
        found = Conversation(port)
        assert found.who().id == "02000000bb01"
        assert found.wifi().state == 0


def test_nothing_that_answers_is_told_as_that() -> None:
    error = trouble_with(lambda data: b"")
    assert error.trouble is Trouble.SILENT
    assert "nothing answers" in str(error)


def noise(data: bytes) -> bytes:
    return random.Random(7).randbytes(3000)


def login(data: bytes) -> bytes:
    return b"login: \r\nPassword: \r\n"


@pytest.mark.parametrize("answers", [noise, login])
def test_something_else_that_answers_is_told_as_that(answers: Answers) -> None:
    error = trouble_with(answers)
    assert error.trouble is Trouble.STRANGER
    assert "not as a joint does" in str(error)


def test_echo_is_told_as_that() -> None:
    error = trouble_with(lambda data: data)
    assert error.trouble is Trouble.STRANGER
    assert "sends back what it is sent" in str(error)


@pytest.mark.parametrize(
    ("body", "words"),
    [
        (b"\x02" + WHO[1:], "speaks version 2, here is 1"),
        (WHO[:-1], "1 bytes are missing"),
        (WHO + b"\0", "1 bytes too many"),
        (WHO[:7] + bytes(4) + WHO[11:], "boot is 0"),
        (WHO[:11] + b"\2" + WHO[12:], "neither 0 nor 1"),
    ],
)
def test_wrong_answer_is_told_with_what_is_wrong(body: bytes, words: str) -> None:
    error = trouble_with(board(lambda frame: body))
    assert error.trouble is Trouble.STRANGER
    assert words in str(error)


def test_frame_among_noise_is_the_answer() -> None:
    usually = board(usual)
    with cable(lambda d: noise(d)[:99] + usually(d) + b"I: ready") as path, Port(path) as port:
        assert Conversation(port).who().firmware == "1"


def test_answer_that_got_lost_is_asked_for_again() -> None:
    asked = count(1)
    with (
        cable(board(lambda f: usual(f) if next(asked) == ATTEMPTS else None)) as path,
        Port(path) as port,
    ):
        assert Conversation(port).who().boot == 7


def test_answer_to_an_older_question_is_passed_over() -> None:
    decoder = Decoder()

    def late(data: bytes) -> bytes:
        out = b""
        for frame in decoder.feed(data):
            old = Frame(Kind.WHO | ANSWER, (frame.number - 1) % 256, b"\x09")
            out += encode(old) + encode(Frame(frame.kind | ANSWER, frame.number, WHO))
        return out

    with cable(late) as path, Port(path) as port:
        found = Conversation(port)
        assert [found.who().boot for _ in range(300)] == [7] * 300


@pytest.mark.parametrize(
    ("code", "trouble", "words"),
    [
        (Refusal.UNKNOWN, Trouble.UNKNOWN, "older than this program"),
        (Refusal.BODY, Trouble.REFUSED, "another version"),
        (Refusal.KEY_SET, Trouble.OTHER_KEY, "key of another arm"),
        (Refusal.DRIVERS_ON, Trouble.REFUSED, "a raised arm would fall"),
        (Refusal.STORE, Trouble.REFUSED, "keeps what it had"),
    ],
)
def test_refusal_is_told_with_its_reason(code: Refusal, trouble: Trouble, words: str) -> None:
    error = trouble_with(refusing(bytes((code,))))
    assert error.trouble is trouble
    assert words in str(error)


def test_what_a_board_does_not_know_can_be_offered_and_any_other_refusal_is_trouble() -> None:
    def asked(answers: Answers) -> bool:
        with cable(answers) as path, Port(path) as port:
            return Conversation(port).offer(Kind.SET_UPDATE_KEY, bytes(32))

    assert asked(board(lambda frame: b""))
    assert not asked(refusing(bytes((Refusal.UNKNOWN,))))
    with pytest.raises(CableError, match="trusts another key for its updates") as caught:
        asked(refusing(bytes((Refusal.KEY_SET,))))
    assert caught.value.trouble is Trouble.OTHER_KEY


def test_refusal_that_is_not_on_the_page_is_a_wrong_answer() -> None:
    assert trouble_with(refusing(b"\x09")).trouble is Trouble.STRANGER


def refusing(body: bytes) -> Callable[[bytes], bytes]:
    decoder = Decoder()

    def answers(data: bytes) -> bytes:
        return b"".join(encode(Frame(REFUSED, f.number, body)) for f in decoder.feed(data))

    return answers


def test_board_that_never_forgets_is_told() -> None:
    with (
        cable(board(lambda frame: b"\0\0\0\x05")) as path,
        Port(path) as port,
        pytest.raises(CableError, match="did not forget"),
    ):
        Conversation(port).forget()


def test_cable_pulled_within_a_question_is_told() -> None:
    def pulled(data: bytes) -> bytes:
        raise EOFError

    assert trouble_with(pulled).trouble is Trouble.GONE
