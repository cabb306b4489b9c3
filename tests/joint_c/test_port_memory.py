"""What a board keeps of what it is told over its cable, and what it says of its Wi-Fi."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocol.cable import requests
from protocol.cable.frames import Decoder, Frame, encode
from protocol.cable.requests import Kind, Refusal, WifiReason, WifiState
from tests.joint_c.lines import Lines

KEY, OTHER_KEY = bytes(range(1, 33)), bytes(range(2, 34))
UPDATE_KEY, OTHER_UPDATE_KEY = bytes(range(3, 35)), bytes(range(4, 36))
RECORD_BYTES = 2 + 32 + (1 + 32) + (1 + 64) + (1 + 32) + (1 + 32)
NOT_FOUND, AUTH_FAIL, HANDSHAKE, BEACON = 201, 202, 15, 200
"""Reasons of the SDK: `wifi_err_reason_t`."""


class Board(Lines):
    """A board with its record in memory."""

    def ask(self, kind: Kind, body: bytes = b"") -> Frame:
        [answer] = Decoder().feed(
            bytes.fromhex(self.line(f"ask {encode(Frame(kind, 1, body)).hex()}"))
        )
        return answer

    def refusal(self, kind: Kind, body: bytes = b"") -> Refusal | None:
        return requests.refusal(self.ask(kind, body))

    def who(self) -> tuple[bool, bytes, str, bool]:
        who = requests.read_who(self.ask(Kind.WHO).body)
        return who.has_key, who.ssid, who.name, who.has_update_key

    def forget(self) -> Frame:
        sure = requests.read_forget(self.ask(Kind.FORGET, bytes(4)).body)
        return self.ask(Kind.FORGET, requests.forget_body(sure))

    def wifi(self, word: str, number: int = 0) -> tuple[WifiState, WifiReason]:
        state, reason, _ = self.line(f"wifi {word} {number}").split()
        return WifiState(int(state)), WifiReason(int(reason))

    def tell_all(self) -> None:
        assert self.refusal(Kind.SET_KEY, KEY) is None
        assert self.refusal(Kind.SET_WIFI, requests.wifi_body(b"shed", "pricking out")) is None
        assert self.refusal(Kind.SET_NAME, requests.name_body("elbow")) is None
        assert self.refusal(Kind.SET_UPDATE_KEY, UPDATE_KEY) is None


@pytest.fixture(name="board")
def board_in_c(joint_build: Path) -> Iterator[Board]:
    program = Board(joint_build / "board")
    yield program
    assert program.end() == 0


def test_what_was_told_is_there_after_a_restart(board: Board) -> None:
    board.tell_all()
    assert board.line("begin") == "1"
    assert board.who() == (True, b"shed", "elbow", True)
    assert board.refusal(Kind.SET_KEY, KEY) is None
    assert board.refusal(Kind.SET_KEY, OTHER_KEY) is Refusal.KEY_SET
    assert board.refusal(Kind.SET_UPDATE_KEY, UPDATE_KEY) is None
    assert board.refusal(Kind.SET_UPDATE_KEY, OTHER_UPDATE_KEY) is Refusal.KEY_SET


def test_a_shorter_network_leaves_nothing_of_the_one_before(board: Board) -> None:
    board.refusal(Kind.SET_WIFI, requests.wifi_body(b"n" * 32, "p" * 63))
    board.refusal(Kind.SET_WIFI, requests.wifi_body(b"a", ""))
    assert b"nn" not in bytes.fromhex(board.line("record"))
    assert b"pp" not in bytes.fromhex(board.line("record"))


@pytest.mark.parametrize(
    ("kind", "body"),
    [
        (Kind.SET_KEY, OTHER_KEY),
        (Kind.SET_WIFI, requests.wifi_body(b"other", "")),
        (Kind.SET_NAME, requests.name_body("other")),
        (Kind.SET_UPDATE_KEY, UPDATE_KEY),
    ],
)
def test_what_cannot_be_kept_is_refused_and_changes_nothing(
    board: Board, kind: Kind, body: bytes
) -> None:
    board.refusal(Kind.SET_WIFI, requests.wifi_body(b"shed", "pricking out"))
    board.refusal(Kind.SET_NAME, requests.name_body("elbow"))
    record, held = board.line("record"), board.line("held")
    board.line("keep 0")
    assert board.refusal(kind, body) is Refusal.STORE
    assert (board.line("record"), board.line("held")) == (record, held)


def test_forgetting_that_cannot_be_kept_forgets_nothing(board: Board) -> None:
    board.tell_all()
    board.line("keep 0")
    assert requests.refusal(board.forget()) is Refusal.STORE
    assert board.who() == (True, b"shed", "elbow", True)


def test_what_is_forgotten_is_neither_in_the_record_nor_in_memory(board: Board) -> None:
    board.tell_all()
    for key in (KEY, UPDATE_KEY):
        assert key.hex() in board.line("record")
        assert key.hex() in board.line("held")
    assert requests.read_forget(board.forget().body) == 0
    assert set(bytes.fromhex(board.line("record"))[1:]) == {0}
    assert set(bytes.fromhex(board.line("held"))) == {0}
    assert board.who() == (False, b"", "", False)


def test_a_board_that_keeps_nothing_is_bare(board: Board) -> None:
    assert board.line("begin") == "0"
    assert board.who() == (False, b"", "", False)


@given(st.binary(max_size=RECORD_BYTES + 2))
def test_no_other_bytes_are_taken_for_a_record(board_of_all: Board, record: bytes) -> None:
    if len(record) != RECORD_BYTES and record:
        board_of_all.tell_all()
        assert board_of_all.line(f"begin {record.hex()}") == "0"
        assert set(bytes.fromhex(board_of_all.line("held"))) == {0}


@pytest.fixture(name="board_of_all", scope="module")
def one_board_for_all_examples(joint_build: Path) -> Iterator[Board]:
    program = Board(joint_build / "board")
    yield program
    assert program.end() == 0


@pytest.mark.parametrize(
    ("at", "value"),
    [
        *((0, 0), (0, 1), (1, 2), (34, 33), (34 + 33, 65), (34 + 33 + 65, 33), (34, 255)),
        (34 + 33 + 65 + 33, 2),
    ],
)
def test_a_record_with_a_field_out_of_its_bounds_is_none(board: Board, at: int, value: int) -> None:
    board.tell_all()
    record = bytearray.fromhex(board.line("record"))
    assert len(record) == RECORD_BYTES
    record[at] = value
    assert board.line(f"begin {record.hex()}") == "0"
    assert set(bytes.fromhex(board.line("held"))) == {0}


# Wi-Fi


def test_a_bare_board_does_not_try(board: Board) -> None:
    assert board.wifi("now") == (WifiState.UNSET, WifiReason.NONE)


def test_a_board_tries_joins_and_is_connected(board: Board) -> None:
    assert board.wifi("try") == (WifiState.TRYING, WifiReason.NONE)
    assert board.wifi("joined") == (WifiState.TRYING, WifiReason.NONE)
    assert board.line("wifi addressed") == "2 0 192.168.1.31"


def test_a_network_out_of_reach_is_told_at_once_and_a_later_one_makes_it_good(
    board: Board,
) -> None:
    board.wifi("try")
    assert board.wifi("lost", NOT_FOUND) == (WifiState.FAILED, WifiReason.NOT_FOUND)
    assert board.wifi("joined") == (WifiState.TRYING, WifiReason.NONE)


@pytest.mark.parametrize("second", [AUTH_FAIL, HANDSHAKE, 14, 204])
def test_the_password_is_blamed_at_the_second_try(board: Board, second: int) -> None:
    board.wifi("try")
    assert board.wifi("lost", AUTH_FAIL) == (WifiState.TRYING, WifiReason.NONE)
    assert board.wifi("lost", second) == (WifiState.FAILED, WifiReason.PASSWORD)


def test_the_password_that_was_good_once_is_not_blamed_for_one_loss(board: Board) -> None:
    board.wifi("try")
    board.wifi("lost", AUTH_FAIL)
    board.wifi("joined")
    board.wifi("addressed")
    assert board.wifi("lost", HANDSHAKE) == (WifiState.TRYING, WifiReason.NONE)
    assert board.wifi("lost", BEACON) == (WifiState.FAILED, WifiReason.OTHER)


def test_a_network_that_gives_no_address_is_told_after_ten_seconds(board: Board) -> None:
    board.wifi("try")
    board.wifi("joined")
    assert board.wifi("now", 9_999_999) == (WifiState.TRYING, WifiReason.NONE)
    assert board.wifi("now", 10_000_000) == (WifiState.FAILED, WifiReason.NO_ADDRESS)
    assert board.wifi("addressed")[0] is WifiState.CONNECTED


def test_an_address_that_is_gone_is_no_connection(board: Board) -> None:
    board.wifi("try")
    board.wifi("joined")
    board.wifi("addressed")
    assert board.line("wifi unaddressed") == "1 0 0.0.0.0"


def test_an_address_that_is_gone_long_after_the_network_is_no_news(board: Board) -> None:
    board.wifi("try")
    board.wifi("joined")
    board.wifi("addressed")
    board.wifi("lost", NOT_FOUND)
    assert board.wifi("unaddressed") == (WifiState.FAILED, WifiReason.NOT_FOUND)
