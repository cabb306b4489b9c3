"""A coordinator on a folder that was restored knows what the one before knew."""

from datetime import UTC, datetime
from pathlib import Path

from coordinator.backup.make import back_up
from coordinator.backup.restore import restore
from coordinator.config.data_folder import make_key
from coordinator.config.settings import DEMO_ARM
from tests.coordinator.api.test_accepted_homes import (
    PATH,
    coordinator_of,
    homing,
    keep,
    wandered_deg,
)
from tests.coordinator.backup.kit import NOW, PASSPHRASE


async def test_home_that_wandered_and_one_that_was_accepted_are_still_that(tmp_path: Path) -> None:
    data, marked, accepted = tmp_path / "data", tmp_path / "marked", tmp_path / "accepted"
    make_key(data)
    await keep(data, homing(1, None), homing(2, 0.03), homing(3, 0.02))
    back_up(data, DEMO_ARM, tmp_path / "a", PASSPHRASE, NOW)
    restore(tmp_path / "a", marked, lambda: PASSPHRASE, NOW)
    async with coordinator_of(marked) as http:
        assert await wandered_deg(http) == 0.05
        assert (await http.post(PATH)).status_code == 200
        # While it is served.
        back_up(marked, DEMO_ARM, tmp_path / "b", PASSPHRASE, datetime.now(UTC))
    restore(tmp_path / "b", accepted, lambda: PASSPHRASE, NOW)
    async with coordinator_of(accepted) as http:
        assert await wandered_deg(http) is None
