"""Why there is no stream, in words; numbers of errors are nobody's words."""

import errno
import os

import pytest
from websockets.exceptions import ConnectionClosedError, InvalidMessage
from websockets.frames import Close

from coordinator.core.events import StreamAddress
from coordinator.links.failures import why_no_stream

AT = StreamAddress("192.0.2.7", 8000, "/joint")
MANY = sorted(errno.errorcode)


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (ConnectionRefusedError(errno.ECONNREFUSED, "Connect call failed ('192.0.2.7', 8000)"),
         "it refuses the connection at 192.0.2.7:8000"),
        (OSError(errno.EHOSTUNREACH, "No route to host"), "no route to 192.0.2.7:8000"),
        (OSError(errno.ENETUNREACH, "Network is unreachable"), "no route to 192.0.2.7:8000"),
        (InvalidMessage("did not receive a valid HTTP response"),
         "what answers at 192.0.2.7:8000 does not speak as a joint"),
        (ConnectionClosedError(None, None), "the stream broke"),
        (ConnectionClosedError(None, Close(1011, "keepalive ping timeout")),
         "it answers no pings"),
        (ConnectionClosedError(Close(1001, ""), None), "it closed the stream"),
        (ConnectionClosedError(Close(1011, "out of memory"), None),
         "it closed the stream (out of memory)"),
        (ConnectionClosedError(None, Close(1009, "frame is too large")),
         "what it sent could not be read: frame is too large"),
    ],
)  # fmt: skip
def test_what_keeps_a_stream_from_being_is_told_in_words(error: Exception, words: str) -> None:
    assert why_no_stream(error, AT) == words


@pytest.mark.parametrize("number", MANY)
def test_no_error_of_the_system_is_told_by_its_number(number: int) -> None:
    words = why_no_stream(OSError(number, os.strerror(number)), AT)
    assert "Errno" not in words
    assert str(number) not in words.replace("192.0.2.7:8000", "")
    assert "192.0.2.7:8000" in words
