"""The file that an option names: whether it can be written is told before anything takes time."""

import os
from pathlib import Path

from coordinator.cli.common import ExitCode, Failure


def require_writable(option: str, file: Path | None, suffix: str) -> None:
    """Raise Failure for a name that does not end so, or where no file can be written."""
    if file is None:
        return
    if file.suffix.lower() != suffix and not file.is_dir():
        raise Failure(
            ExitCode.WRONG_INPUT,
            f"{option} is {file}, but must end in {suffix}: that is what it writes",
        )
    folder = file.absolute().parent
    if not folder.is_dir():
        why = "there is no such folder"
    elif file.is_dir():
        why = f"it is a folder, but must be a file whose name ends in {suffix}"
    elif file.exists() and not file.is_file():
        why = "it is no regular file"
    elif not os.access(file if file.exists() else folder, os.W_OK):
        why = "Permission denied"
    else:
        return
    raise Failure(ExitCode.WRONG_INPUT, f"{file} cannot be written: {why}")


def write_file(file: Path, text: str) -> None:
    """Write it, over what was there. Raises Failure where that cannot be done after all."""
    try:
        file.write_text(text, encoding="utf-8", newline="")
    except OSError as error:
        sentence = f"{file} cannot be written: {error.strerror}"
        raise Failure(ExitCode.WRONG_INPUT, sentence) from error
