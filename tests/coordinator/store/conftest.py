"""Databases of their own, in a file and at a server, closed afterwards."""

from collections.abc import AsyncIterator, Iterator
from itertools import count
from pathlib import Path

import pytest
from sqlalchemy import Engine

from coordinator.store import Store
from coordinator.store.opening import migrate
from coordinator.store.place import place_of
from tests.postgres import PostgresServer

FILE, SERVER = "file", "server"
_numbers = count(1)


@pytest.fixture(name="database", params=[FILE, SERVER])
def each_database(request: pytest.FixtureRequest) -> str | None:
    """What `Store` takes. A test that is about one of them says so by `parametrize`."""
    if request.param == FILE:
        return None
    server: PostgresServer = request.getfixturevalue("postgres")
    return server.make_schema(f"arm{next(_numbers)}")


@pytest.fixture(name="store")
async def open_store(tmp_path: Path, database: str | None) -> AsyncIterator[Store]:
    store = Store(tmp_path, database=database)
    yield store
    await store.close()


@pytest.fixture(name="engine", scope="module", params=[FILE, SERVER])
def engine_of_each(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Engine]:
    """For many examples in one database, which no other test has: it stays locked."""
    url = None
    if request.param == SERVER:
        server: PostgresServer = request.getfixturevalue("postgres")
        url = server.make(f"examples{next(_numbers)}")
    place = place_of(tmp_path_factory.mktemp("examples"), url)
    place.make()
    engine = place.engine(writes=True)
    with engine.begin() as connection:
        migrate(connection)
    yield engine
    engine.dispose()
