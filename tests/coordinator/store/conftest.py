"""An open store in a folder of its own, closed afterwards."""

from collections.abc import AsyncIterator
from pathlib import Path

import pytest

from coordinator.store import Store


@pytest.fixture(name="store")
async def open_store(tmp_path: Path) -> AsyncIterator[Store]:
    store = Store(tmp_path)
    yield store
    await store.close()
