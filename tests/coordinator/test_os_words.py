"""What the system says of a failure reaches people in words; its numbers are nobody's words."""

import errno
import os
import socket

import pytest

from coordinator.cli import jog_feed
from coordinator.cli.failing import explain
from coordinator.client import Unreachable
from coordinator.codes.os_words import os_words

SEVERAL = "Multiple exceptions: [Errno 111] Connect call failed, [Errno 101] Network is unreachable"


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (ConnectionRefusedError(errno.ECONNREFUSED, "Connection refused"), "nothing listens there"),
        (OSError(errno.EHOSTUNREACH, "No route to host"), "no way leads there on this network"),
        (socket.gaierror(socket.EAI_NONAME, "Name or service not known"),
         "no computer has that name here"),
        (TimeoutError("timed out"), "nothing answers in time"),
        (PermissionError(errno.EACCES, "Permission denied"), "Permission denied"),
        (OSError(SEVERAL), "Connect call failed, Network is unreachable"),
        (ValueError("it is no key"), "it is no key"),
    ],
)  # fmt: skip
def test_what_the_system_says_is_told_in_words(error: Exception, words: str) -> None:
    assert os_words(error) == words


@pytest.mark.parametrize("number", sorted(errno.errorcode))
def test_no_error_of_the_system_is_told_by_its_number(number: int) -> None:
    error = OSError(number, os.strerror(number))
    assert "Errno" not in os_words(error)
    assert "Errno" not in str(explain(error))


def test_an_error_of_several_is_told_without_numbers_by_any_command() -> None:
    assert str(explain(OSError(SEVERAL))) == "Connect call failed, Network is unreachable"


def test_a_feed_that_cannot_be_reached_is_told_in_words() -> None:
    with (
        pytest.raises(Unreachable) as error,
        jog_feed.feed_at("http://127.0.0.1:9"),  # the discard port (RFC 863)
    ):
        pass
    assert str(error.value) == (
        "no coordinator answers at http://127.0.0.1:9: nothing listens there; start one with "
        "'unisono serve'"
    )
