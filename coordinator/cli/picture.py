"""The file that `--plot` names: whether it can be written is told before anything takes time."""

import os
from pathlib import Path

from coordinator.cli.common import ExitCode, Failure


def require_drawable(picture: Path | None) -> None:
    """Raise Failure for a name that is not of a picture, or where none can be written."""
    if picture is None:
        return
    if picture.suffix.lower() != ".svg" and not picture.is_dir():
        raise Failure(
            ExitCode.WRONG_INPUT,
            f"--plot is {picture}, but must end in .svg: that is what it draws",
        )
    folder = picture.absolute().parent
    if not folder.is_dir():
        why = "there is no such folder"
    elif picture.is_dir():
        why = "it is a folder, but must be a file whose name ends in .svg"
    elif picture.exists() and not picture.is_file():
        why = "it is no regular file"
    elif not os.access(picture if picture.exists() else folder, os.W_OK):
        why = "Permission denied"
    else:
        return
    raise Failure(ExitCode.WRONG_INPUT, f"{picture} cannot be written: {why}")


def write_picture(picture: Path, text: str) -> None:
    """Write it, over what was there. Raises Failure where that cannot be done after all."""
    try:
        picture.write_text(text, encoding="utf-8")
    except OSError as error:
        sentence = f"{picture} cannot be written: {error.strerror}"
        raise Failure(ExitCode.WRONG_INPUT, sentence) from error
