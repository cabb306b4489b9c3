"""A terminal that gives every key at once, and is left as it was found, however it ends."""

import contextlib
import os
import select
import signal
import sys
import termios
import tty
from collections.abc import Callable, Iterator
from types import FrameType
from typing import Any, Final

from coordinator.cli.jog_keys import keys_of

_ENDS: Final = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)


class Terminal:
    """Standard input, read key by key; and what came by a signal, noted until it is asked for."""

    def __init__(self) -> None:
        self._fd = sys.stdin.fileno()
        self._before: list[Any] = termios.tcgetattr(self._fd)
        self._rest = ""
        self.ended_by: signal.Signals | None = None
        """What asked the process to end."""
        self.stops = False
        """Whoever sits there asked for its stop (Ctrl-Z)."""

    @classmethod
    @contextlib.contextmanager
    def opened(cls) -> Iterator["Terminal"]:
        """Take the terminal over until left."""
        self = cls()
        before = {number: signal.signal(number, self._note) for number in (*_ENDS, signal.SIGTSTP)}
        try:
            tty.setcbreak(self._fd)
            yield self
        finally:
            self._restore()
            for number, handler in before.items():
                signal.signal(number, handler)

    def keys(self, patience_s: float) -> list[str]:
        """The keys that were pressed, after so long at the latest."""
        ready, _, _ = select.select([self._fd], [], [], patience_s)
        if not ready:
            # An escape that nothing follows is a key of its own.
            lone, self._rest = self._rest, ""
            return ["escape"] if lone else []
        read = os.read(self._fd, 1024)
        if not read:  # whoever sat there has gone
            self.ended_by = signal.SIGHUP
        keys, self._rest = keys_of(self._rest + read.decode("ascii", "replace"))
        return keys

    def forget(self) -> None:
        """What was pressed meanwhile is old."""
        self._rest = ""
        termios.tcflush(self._fd, termios.TCIFLUSH)

    def stop(self, meanwhile: Callable[[], contextlib.AbstractContextManager[object]]) -> None:
        """Stop the process as Ctrl-Z does elsewhere, until it is continued."""
        self.stops = False
        with meanwhile():
            self._restore()
            note = signal.signal(signal.SIGTSTP, signal.SIG_DFL)
            os.kill(os.getpid(), signal.SIGTSTP)
            signal.signal(signal.SIGTSTP, note)
            tty.setcbreak(self._fd)  # what was pressed meanwhile is discarded

    def _note(self, number: int, _frame: FrameType | None) -> None:
        if number == signal.SIGTSTP:
            self.stops = True
        else:
            self.ended_by = signal.Signals(number)

    def _restore(self) -> None:
        with contextlib.suppress(termios.error):  # it may be there no more
            termios.tcsetattr(self._fd, termios.TCSADRAIN, self._before)
