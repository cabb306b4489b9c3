"""Why there is no stream to a joint, in words for people: clauses that follow *it is offline:*."""

import errno
from typing import Final

from websockets.exceptions import ConnectionClosed

from coordinator.core.events import StreamAddress

_WORDS: Final = {
    errno.ECONNREFUSED: "it refuses the connection at {}",
    errno.ECONNRESET: "it broke the connection at {}",
    errno.ECONNABORTED: "it broke the connection at {}",
    errno.EPIPE: "it broke the connection at {}",
    errno.EHOSTUNREACH: "no route to {}",
    errno.ENETUNREACH: "no route to {}",
    errno.EHOSTDOWN: "no route to {}",
    errno.ENETDOWN: "this laptop's network is down, so that {} cannot be reached",
    errno.EADDRNOTAVAIL: "this laptop has no address from which to reach {}",
    errno.ETIMEDOUT: "it does not answer at {}",
}
"""By what connect(2) and its like tell (errno(3))."""


def why_no_stream(error: Exception, address: StreamAddress) -> str:
    """What kept a connection from being opened, or ended it."""
    if isinstance(error, ConnectionClosed):
        return why_closed(error)
    if isinstance(error, OSError) and error.errno is not None:
        return _WORDS.get(error.errno, "it cannot be connected at {}").format(address)
    return f"what answers at {address} does not speak as a joint"


def why_closed(error: ConnectionClosed) -> str:
    """What ended a stream that was open."""
    if error.rcvd is not None:
        reason = f" ({error.rcvd.reason})" if error.rcvd.reason else ""
        return f"it closed the stream{reason}"
    if error.sent is not None and "ping" in error.sent.reason:
        return "it answers no pings"
    if error.sent is not None:
        return f"what it sent could not be read: {error.sent.reason or 'no reason is given'}"
    return "the stream broke"
