"""A serial port as bytes in and out: POSIX termios, raw, 115200 baud, for this process alone.

By the standard library: the usual one for serial ports has had no release since 2020.
"""

import contextlib
import errno
import fcntl
import os
import select
import stat
import termios
from pathlib import Path
from types import TracebackType
from typing import Final, Self

from coordinator.cable.errors import CableError, Trouble

_READ_BYTES: Final = 4096
_IFLAG, _OFLAG, _CFLAG, _LFLAG, _ISPEED, _OSPEED, _CC = range(7)


class Port:
    """An open port. Raises CableError, with GONE once the cable is pulled."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._file = _open(path)
        try:
            fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
            _make_raw(self._file)
            fcntl.ioctl(self._file, termios.TIOCEXCL)
        except BlockingIOError:
            os.close(self._file)
            raise _busy(path) from None
        except termios.error as error:
            os.close(self._file)
            raise CableError(Trouble.NO_PORT, f"{path} is no serial port: {error}") from error
        except OSError as error:
            os.close(self._file)
            raise self._gone(error) from error

    def write(self, data: bytes) -> None:
        """Send all of it."""
        while data:
            try:
                data = data[os.write(self._file, data) :]
            except BlockingIOError:
                select.select([], [self._file], [])
            except OSError as error:
                raise self._gone(error) from error

    def read(self, timeout_s: float) -> bytes:
        """What has come, once something has; nothing after `timeout_s`."""
        ready, _, _ = select.select([self._file], [], [], max(timeout_s, 0))
        if not ready:
            return b""
        try:
            data = os.read(self._file, _READ_BYTES)
        except BlockingIOError:
            return b""
        except OSError as error:
            raise self._gone(error) from error
        if not data:  # it hung up
            raise self._gone(None)
        return data

    def close(self) -> None:
        """Let go of the port; what was not sent yet is given up."""
        with contextlib.suppress(OSError, termios.error):
            termios.tcflush(self._file, termios.TCIOFLUSH)
        with contextlib.suppress(OSError):
            os.close(self._file)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def _gone(self, error: OSError | None) -> CableError:
        why = f" ({error.strerror})" if error is not None else ""
        return CableError(
            Trouble.GONE, f"{self.path} is gone: the cable was pulled, or the board's power{why}"
        )


def _open(path: Path) -> int:
    try:
        if not stat.S_ISCHR(path.stat().st_mode):
            raise CableError(Trouble.NO_PORT, f"{path} is no serial port")
        # Non-blocking: an open that waits for a carrier would wait for ever.
        return os.open(path, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK | os.O_CLOEXEC)
    except FileNotFoundError:
        raise CableError(
            Trouble.NO_PORT, f"there is no {path}; 'unisono joint list' tells which ports there are"
        ) from None
    except PermissionError:
        raise CableError(
            Trouble.NO_PORT,
            f"{path} may not be opened by you; on most systems its group, often 'dialout', may",
        ) from None
    except OSError as error:
        if error.errno == errno.EBUSY:
            raise _busy(path) from None
        raise CableError(Trouble.NO_PORT, f"{path} cannot be opened: {error.strerror}") from error


def _busy(path: Path) -> CableError:
    return CableError(Trouble.BUSY, f"another program is using {path}: end it first")


def _make_raw(file: int) -> None:
    """8 data bits, no parity, 1 stop bit, nothing translated; lines stay as they are at the end."""
    settings = termios.tcgetattr(file)
    settings[_IFLAG] = 0
    settings[_OFLAG] = 0
    settings[_LFLAG] = 0
    settings[_CFLAG] = termios.CS8 | termios.CREAD | termios.CLOCAL
    settings[_ISPEED] = settings[_OSPEED] = termios.B115200
    settings[_CC][termios.VMIN] = 0
    settings[_CC][termios.VTIME] = 0
    termios.tcsetattr(file, termios.TCSANOW, settings)
