"""Databases in folders of their own, closed afterwards."""

from collections.abc import AsyncIterator, Iterator
from pathlib import Path

import pytest
from sqlalchemy import Engine

from coordinator.store import Store
from coordinator.store.opening import engine_of, make_file, migrate


@pytest.fixture(name="store")
async def open_store(tmp_path: Path) -> AsyncIterator[Store]:
    store = Store(tmp_path)
    yield store
    await store.close()


@pytest.fixture(name="engine", scope="module")
def engine_of_a_file(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Engine]:
    """For many examples in one file."""
    path = tmp_path_factory.mktemp("examples") / "unisono.db"
    make_file(path)
    engine = engine_of(path, writes=True)
    with engine.begin() as connection:
        migrate(connection)
    yield engine
    engine.dispose()
