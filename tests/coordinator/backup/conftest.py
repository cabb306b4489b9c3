"""A data folder that has something of every kind, made once, and backups of it."""

from pathlib import Path

import pytest

from coordinator.backup.make import back_up
from tests.coordinator.backup.kit import NOW, PASSPHRASE, full_folder


@pytest.fixture(name="arm_file", scope="session")
def arm_file_of_a_full_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return full_folder(tmp_path_factory.mktemp("full") / "data")


@pytest.fixture(name="data", scope="session")
def full_data_folder(arm_file: Path) -> Path:
    """To be read only."""
    return arm_file.with_name("data")


@pytest.fixture(name="plain", scope="session")
def backup_without_keys(arm_file: Path, data: Path) -> Path:
    to = arm_file.with_name("plain.backup")
    back_up(data, arm_file, to, None, NOW)
    return to


@pytest.fixture(name="keyed", scope="session")
def backup_with_keys(arm_file: Path, data: Path) -> Path:
    to = arm_file.with_name("keyed.backup")
    back_up(data, arm_file, to, PASSPHRASE, NOW)
    return to
