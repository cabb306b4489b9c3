"""A database changed by hand, while no coordinator uses it."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import Connection

from coordinator.store.place import place_of


@contextmanager
def by_hand(folder: Path, database: str | None) -> Iterator[Connection]:
    """A transaction; the file is made if there is none."""
    place = place_of(folder, database)
    place.make()
    engine = place.engine(writes=True)
    try:
        with engine.begin() as connection:
            yield connection
    finally:
        engine.dispose()
