"""The arm file on the disk: read, looked at, and written over whole by who edits it.

The coordinator goes on by the text with which it began: counts, limits and homes of joints that may
be moving are not exchanged under them. Another text is used at the next start.
"""

import asyncio
import hashlib
import stat
from typing import Final

from coordinator.answers.arm_file import ArmFileNow
from coordinator.codes.refusal import RefusalCode
from coordinator.config.arm import Arm, ArmFileError, load_arm, parse_arm
from coordinator.config.arm_text import ArmTextLookedAt, look_at, with_line_ends_of
from coordinator.config.data_folder import DataFolderError, write_whole
from coordinator.config.regular_file import read_regular
from coordinator.config.settings import DEMO_ARM
from coordinator.core.events import Refused

_MOST_BYTES: Final = 1_000_000


class ArmFileKeeper:
    """The file of one arm. Belongs to one event loop; the disk is waited for in threads."""

    def __init__(self, arm: Arm) -> None:
        self._path = arm.path
        self._began_with = arm.text
        self._writing = asyncio.Lock()

    async def now(self) -> ArmFileNow:
        """As it is on the disk. Raises Refused where it cannot be read."""
        return await asyncio.to_thread(self._now)

    async def look_at(self, text: str) -> ArmTextLookedAt:
        """What is wrong with a text, and what it would change. Raises Refused as `now`."""
        return await asyncio.to_thread(lambda: look_at(text, self._path, self._now().text))

    async def write(self, text: str, instead_of: str) -> ArmFileNow:
        """Write it in place of the text with that digest: all of it or nothing.

        Raises ArmFileError for a text that is no arm, Refused where another text is there, where it
        is not to be written, and where the disk fails.
        """
        async with self._writing:
            return await asyncio.to_thread(self._write, text, instead_of)

    def _now(self) -> ArmFileNow:
        try:
            held, size = read_regular(self._path, _MOST_BYTES)
            if size > _MOST_BYTES:
                raise _disk(f"{self._path} has {size} bytes: that is no arm file")
            text = held.decode("utf-8")
        except OSError as error:
            raise _disk(f"{self._path} cannot be read: {error.strerror}") from error
        except UnicodeDecodeError as error:
            raise _disk(f"{self._path} is not UTF-8") from error
        return ArmFileNow(
            str(self._path),
            text,
            hashlib.sha256(held).hexdigest(),
            text == self._began_with,
            self._kept_because(),
        )

    def _kept_because(self) -> str:
        if self._path.resolve() == DEMO_ARM.resolve():
            return (
                "this is the demo arm, a part of the program: begin your own with "
                "'unisono arm new', or copy this text to a file of yours"
            )
        return ""

    def _write(self, text: str, instead_of: str) -> ArmFileNow:
        before = self._now()
        if before.kept_because:
            raise Refused(RefusalCode.ARM_FILE_KEPT, before.kept_because)
        if before.sha256 != instead_of:
            raise Refused(
                RefusalCode.ARM_FILE_CHANGED,
                f"{self._path} was changed by somebody else since it was read here: read it again, "
                "what was typed here is not written",
            )
        parse_arm(text, self._path)
        file = self._path.resolve()
        try:
            mode = stat.S_IMODE(file.stat().st_mode)
            write_whole(file, with_line_ends_of(before.text, text), mode)
        except DataFolderError as error:
            raise _disk(str(error)) from error
        except OSError as error:
            raise _disk(f"{self._path} cannot be written: {error.strerror}") from error
        return self._read_back()

    def _read_back(self) -> ArmFileNow:
        """What a start would read: the text by its own bytes, and by the rules of `load_arm`."""
        try:
            load_arm(self._path)
        except ArmFileError as error:
            raise _disk(f"{self._path} was written, but is not what was sent: {error}") from error
        return self._now()


def _disk(sentence: str) -> Refused:
    return Refused(RefusalCode.ARM_FILE_DISK, sentence)
