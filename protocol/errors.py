"""What can be wrong with bytes that came over the wire.

    WireError
     ├── DatagramError   not a datagram of this protocol, or not for this session
     ├── FrameError      a stream frame that is damaged or malformed
     └── HandshakeError  a peer that is not who it must be

Each carries a stable `code` and a sentence. A peer's fault never raises anything else.
"""


class WireError(Exception):
    """A peer sent something that this protocol does not allow."""

    def __init__(self, code: str, message: str) -> None:
        super().__init__(message)
        self.code = code
        self.message = message


class DatagramError(WireError):
    """A datagram that is malformed, or whose tag is wrong."""


class FrameError(WireError):
    """A stream frame that is malformed, damaged, or whose tag is wrong."""


class HandshakeError(WireError):
    """The peer could not prove that it holds the arm's key, or its hello was malformed."""
