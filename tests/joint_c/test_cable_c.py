"""The cable in C: golden vectors, and the same as in Python whatever the bytes."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocol.cable import requests
from protocol.cable.frames import MAX_BODY_BYTES, SYNC, Decoder, Frame, encode
from protocol.cable.requests import ANSWER, REFUSED, Kind, Refusal
from protocol.errors import WireError
from tests.joint_c.lines import Lines
from tests.protocol.pages import vectors


class CableC(Lines):
    """The program, line by line."""

    def ask(self, line: str) -> str:
        return self.line(line).strip()

    def frames(self, line: str) -> list[Frame]:
        *found, end = self.ask(line).split(".")
        assert end.strip() == "-"
        words = [one.split(" ") for one in map(str.strip, found)]
        return [
            Frame(int(w[0]), int(w[1]), bytes.fromhex(w[2] if len(w) > 2 else "")) for w in words
        ]

    def board(self, frame: Frame) -> tuple[Frame | None, str]:
        """What a board in memory answers, and what it then has.

        That is: key, bytes of ssid and of name, the key that signs updates.
        """
        answer, *has = self.ask(f"board {encode(frame).hex()}").split(" ")
        if len(has) < 4:
            return None, " ".join((answer, *has))
        [found] = Decoder().feed(bytes.fromhex(answer))
        return found, " ".join(has)


@pytest.fixture(name="cable", scope="module")
def cable_in_c(joint_build: Path) -> Iterator[CableC]:
    program = CableC(joint_build / "cable")
    yield program
    assert program.end() == 0


def test_golden_streams_agree(cable: CableC) -> None:
    for case in vectors("cable")["streams"]:
        cable.ask("new")
        for line, wanted in ((f"feed {case['bytes']}", "found"), ("pause", "after_pause")):
            found = [
                {"kind": one.kind, "number": one.number, "body": one.body.hex()}
                for one in cable.frames(line)
            ]
            assert found == case[wanted], case["name"]


def test_golden_frames_are_found(cable: CableC) -> None:
    for case in vectors("cable")["frames"]:
        cable.ask("new")
        [found] = cable.frames(f"feed {case['bytes']}")
        assert (found.kind, found.number, found.body.hex()) == (
            case["kind"],
            case["number"],
            case["body"],
        )


_frames = st.builds(
    lambda kind, number, body: encode(Frame(kind, number, body)),
    st.integers(0, 255),
    st.integers(0, 255),
    st.binary(max_size=MAX_BODY_BYTES),
)
_heads = st.builds(lambda n: SYNC + bytes((n, 255 - n)), st.integers(0, 255))
_pieces = st.one_of(
    st.binary(max_size=40),
    _frames,
    _heads,
    st.builds(lambda data, end: data[:end], _frames, st.integers(0, 138)),
    st.just(SYNC),
    st.none(),
)


@given(st.lists(_pieces, max_size=12))
def test_c_and_python_find_the_same_in_any_bytes(cable: CableC, pieces: list[bytes | None]) -> None:
    """None stands for a pause."""
    cable.ask("new")
    decoder = Decoder()
    for piece in pieces:
        if piece is None:
            assert cable.frames("pause") == decoder.pause()
        else:
            assert cable.frames(f"feed {piece.hex()}") == decoder.feed(piece)


def refused(frame: Frame | None) -> Refusal | None:
    assert frame is not None
    return requests.refusal(frame)


@given(st.integers(0, 255), st.integers(0, 255), st.binary(max_size=MAX_BODY_BYTES))
def test_any_request_is_done_or_refused_and_an_answer_is_passed_over(
    cable: CableC, kind: int, number: int, body: bytes
) -> None:
    answer, _ = cable.board(Frame(kind, number, body))
    if kind & ANSWER:
        assert answer is None
        return
    assert answer is not None
    assert answer.number == number
    assert answer.kind in {kind | ANSWER, REFUSED}
    if kind not in list(Kind):
        assert refused(answer) is Refusal.UNKNOWN


texts = st.one_of(st.text(max_size=70), st.text("0123456789abcdefABCDEF", min_size=62, max_size=66))


@given(st.binary(max_size=34), texts)
def test_both_take_the_same_networks(cable: CableC, ssid: bytes, password: str) -> None:
    body = bytes((len(ssid),)) + ssid + bytes((len(password.encode()) % 256,)) + password.encode()
    try:
        wanted = requests.wifi_body(ssid, password) == body
    except WireError:
        wanted = False
    if len(body) <= MAX_BODY_BYTES:
        answer, _ = cable.board(Frame(Kind.SET_WIFI, 1, body))
        assert refused(answer) is (None if wanted else Refusal.BODY)


@given(st.text(max_size=34) | st.from_regex("[A-Za-z0-9_-]{0,34}", fullmatch=True))
def test_both_take_the_same_names(cable: CableC, name: str) -> None:
    body = bytes((len(name.encode()),)) + name.encode()
    try:
        wanted = requests.name_body(name) == body
    except WireError:
        wanted = False
    if len(body) <= MAX_BODY_BYTES:
        answer, _ = cable.board(Frame(Kind.SET_NAME, 1, body))
        assert refused(answer) is (None if wanted else Refusal.BODY)


def forget_all(cable: CableC) -> None:
    answer, _ = cable.board(Frame(Kind.FORGET, 1, bytes(4)))
    assert answer is not None
    if sure := requests.read_forget(answer.body):
        cable.board(Frame(Kind.FORGET, 2, requests.forget_body(sure)))


def test_key_is_taken_once_and_again_but_no_other_until_all_is_forgotten(cable: CableC) -> None:
    forget_all(cable)
    ours, others = bytes(32), bytes(31) + b"\1"
    for key, wanted in ((ours, None), (ours, None), (others, Refusal.KEY_SET), (ours, None)):
        assert refused(cable.board(Frame(Kind.SET_KEY, 1, key))[0]) is wanted
    forget_all(cable)
    assert refused(cable.board(Frame(Kind.SET_KEY, 1, others))[0]) is None


@pytest.mark.parametrize("between", [None, Frame(Kind.WHO, 3), Frame(99, 3), Frame(Kind.FORGET, 3)])
def test_forget_asks_twice_and_a_request_between_makes_its_number_worthless(
    cable: CableC, between: Frame | None
) -> None:
    forget_all(cable)
    cable.board(Frame(Kind.SET_KEY, 1, bytes(32)))
    answer, has = cable.board(Frame(Kind.FORGET, 1, bytes(4)))
    assert answer is not None
    sure = requests.read_forget(answer.body)
    assert sure != 0
    assert has.startswith("1")
    if between is not None:
        cable.board(between)
    answer, has = cable.board(Frame(Kind.FORGET, 2, requests.forget_body(sure)))
    assert answer is not None
    assert has.startswith("0" if between is None else "1")
    assert (requests.read_forget(answer.body) == 0) is (between is None)


def test_forgetting_twice_is_as_once(cable: CableC) -> None:
    forget_all(cable)
    answer, has = cable.board(Frame(Kind.FORGET, 2, requests.forget_body(12345)))
    assert answer is not None
    assert requests.read_forget(answer.body) == 0
    assert has == "0 0 0 0"


def test_each_key_is_its_own_and_both_are_forgotten(cable: CableC) -> None:
    forget_all(cable)
    ours, others = bytes(32), bytes(31) + b"\1"
    assert refused(cable.board(Frame(Kind.SET_KEY, 1, others))[0]) is None
    for key, wanted in ((ours, None), (ours, None), (others, Refusal.KEY_SET), (ours, None)):
        assert refused(cable.board(Frame(Kind.SET_UPDATE_KEY, 1, key))[0]) is wanted
    answer, has = cable.board(Frame(Kind.WHO, 1))
    assert answer is not None
    assert (requests.read_who(answer.body).has_update_key, has) == (True, "1 0 0 1")
    assert refused(cable.board(Frame(Kind.SET_UPDATE_KEY, 1, ours[:-1]))[0]) is Refusal.BODY
    forget_all(cable)
    answer, has = cable.board(Frame(Kind.WHO, 1))
    assert answer is not None
    assert (requests.read_who(answer.body).has_update_key, has) == (False, "0 0 0 0")


def test_key_that_signs_updates_alone_is_something_to_forget(cable: CableC) -> None:
    forget_all(cable)
    cable.board(Frame(Kind.SET_UPDATE_KEY, 1, bytes(32)))
    answer, has = cable.board(Frame(Kind.FORGET, 1, bytes(4)))
    assert answer is not None
    assert requests.read_forget(answer.body) != 0
    assert has == "0 0 0 1"


def test_board_that_takes_no_updates_does_not_know_their_key(joint_build: Path) -> None:
    plain = CableC(joint_build / "cable")
    plain.ask("plain")
    for body in (bytes(32), b""):
        answer, has = plain.board(Frame(Kind.SET_UPDATE_KEY, 1, body))
        assert (refused(answer), has) == (Refusal.UNKNOWN, "0 0 0 0")
    assert plain.end() == 0


def test_no_answer_carries_the_key(cable: CableC) -> None:
    forget_all(cable)
    key = bytes(range(0x40, 0x60))
    said = [cable.ask(f"board {encode(Frame(Kind.SET_KEY, 1, key)).hex()}")]
    said += [cable.ask(f"board {encode(Frame(kind, 1)).hex()}") for kind in range(128)]
    assert not [line for line in said if key[:8].hex() in line]
