"""A merged image onto a board, by the library of the chip's maker: the optional extra `cable`."""

import contextlib
import io
from collections.abc import Callable, Iterator
from pathlib import Path

from coordinator.cable.errors import CableError, Trouble
from coordinator.cable.image import MergedImage
from coordinator.codes.os_words import os_words

Progress = Callable[[int, int], None]
"""Told how many bytes of how many are written."""


def require_library() -> None:
    """Load the library, which nothing else does. Raises CableError where it is not installed."""
    try:
        import esptool  # noqa: F401
    except ImportError:
        raise CableError(
            Trouble.LACKING, "to flash needs the extra 'cable': pip install 'unisono[cable]'"
        ) from None


def flash(path: Path, image: MergedImage, progress: Progress) -> str:
    """Write an image from address 0 on, have it verified, and restart; the chip's name.

    What the board was told before is gone. Raises CableError.
    """
    require_library()
    from esptool import cmds
    from esptool.util import FatalError
    from serial import SerialException

    try:
        with _quiet(progress), cmds.detect_chip(str(path)) as chip:
            _require_fit(chip.CHIP_NAME, chip.IMAGE_CHIP_ID, chip.BOOTLOADER_FLASH_OFFSET, image)
            with_stub = cmds.run_stub(chip)
            cmds.attach_flash(with_stub)
            # It compares what is written by a digest, and raises where that differs.
            cmds.write_flash(with_stub, [(0, image.data)])
            cmds.reset_chip(with_stub)
            return str(chip.CHIP_NAME)
    except (FatalError, SerialException, OSError) as error:
        why = " ".join(os_words(error).split()).rstrip(".")
        raise CableError(
            Trouble.NOT_FLASHED,
            f"the board at {path} was not flashed whole: {why}. It does no harm to begin again",
        ) from error


def _require_fit(name: str, chip_id: int | None, offset: int, image: MergedImage) -> None:
    if (chip_id, offset) != (image.chip_id, image.bootloader_offset):
        raise CableError(
            Trouble.IMAGE,
            f"the image is for another chip: the board is an {name} ({chip_id}, bootloader at "
            f"0x{offset:x}), the image is for {image.chip_id} (at 0x{image.bootloader_offset:x})",
        )


@contextlib.contextmanager
def _quiet(progress: Progress) -> Iterator[None]:
    """The library says nothing of its own, and tells its progress."""
    from esp_pylib.logger import EspLog, EspLogBase

    def nothing(*args: object, **kwargs: object) -> None:
        pass

    class Told(EspLogBase):  # type: ignore[misc]
        print = note = hint = debug = warn = err = set_verbosity = nothing
        warning = error = nothing

        def progress_bar(self, done: int, of: int, *args: object, **kwargs: object) -> None:
            progress(done, of)

    before = EspLog.instance
    EspLog.set_logger(Told())
    try:
        with contextlib.redirect_stdout(io.StringIO()):
            yield
    finally:
        EspLog.instance = before
