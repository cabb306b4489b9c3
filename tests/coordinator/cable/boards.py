"""What may be at the other end of a cable: a thread at a pseudo-terminal."""

import contextlib
import os
import threading
import tty
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from protocol.cable.frames import Decoder, Frame, encode
from protocol.cable.requests import ANSWER, Kind

WHO = b"\x01" + bytes.fromhex("02000000bb01") + b"\0\0\0\x07\0\x011\0\0\0"
Answers = Callable[[bytes], bytes]
"""From what came to what is said."""


@contextmanager
def cable(answers: Answers) -> Iterator[Path]:
    """A port at whose other end that stands. It goes at the end, or by an EOFError of `answers`."""
    near, far = os.openpty()
    tty.setraw(far)
    path = Path(os.ttyname(far))

    def run() -> None:
        with contextlib.suppress(OSError, EOFError):
            while True:
                said = answers(os.read(near, 4096))
                while said:
                    said = said[os.write(near, said) :]
        with contextlib.suppress(OSError):
            os.close(far)
        with contextlib.suppress(OSError):
            os.close(near)

    thread = threading.Thread(target=run)
    thread.start()
    try:
        yield path
    finally:
        with contextlib.suppress(OSError):
            os.write(far, b"")
        # The thread ends once the last writer of the far end has gone.
        with contextlib.suppress(OSError):
            os.close(far)
        thread.join(10)
        assert not thread.is_alive()


def board(answer: Callable[[Frame], bytes | None]) -> Answers:
    """One that answers frames with bodies, in frames of their kind and number; None for silence."""
    decoder = Decoder()

    def said(data: bytes) -> bytes:
        out = b""
        for frame in decoder.feed(data):
            body = answer(frame)
            if body is not None:
                out += encode(Frame(frame.kind | ANSWER, frame.number, body))
        return out

    return said


def usual(frame: Frame) -> bytes | None:
    """What a bare board says of itself; silence to all else."""
    return {Kind.WHO: WHO, Kind.WIFI: bytes(7)}.get(Kind(frame.kind))
