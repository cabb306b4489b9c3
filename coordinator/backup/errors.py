"""What keeps a backup from being made or restored, as one sentence."""

from pathlib import Path

from coordinator.codes.os_words import os_words
from coordinator.config.data_folder import DataFolderError


class BackupError(DataFolderError):
    """It is neither made nor restored; the text is a sentence that names the file."""


def not_written(path: Path, error: OSError) -> BackupError:
    """What a disk that does not take something amounts to."""
    return BackupError(f"{path} cannot be written: {os_words(error)}")


def not_read(path: Path, error: OSError) -> BackupError:
    """What a file that cannot be read amounts to."""
    return BackupError(f"{path} cannot be read: {os_words(error)}")
