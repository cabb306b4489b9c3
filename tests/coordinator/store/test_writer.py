"""Writes are answered after their commit, and those that wait together share one."""

import asyncio
import contextlib
import logging
import threading
from pathlib import Path

import pytest
from sqlalchemy import Connection, event

from coordinator.store import Store, StoreError, events, writer
from tests.coordinator.store.test_events import add

FILE_ONLY = pytest.mark.parametrize("database", [None])


class Commits:
    """Counts a store's commits."""

    def __init__(self, store: Store) -> None:
        self.count = 0
        event.listen(store._writing, "commit", self._commit)

    def _commit(self, _connection: Connection) -> None:
        self.count += 1


async def busy(store: Store) -> tuple[threading.Event, asyncio.Future[bool]]:
    """A store whose disk is busy until the event is set, and the write that keeps it so."""
    begun, let = asyncio.Event(), threading.Event()
    loop = asyncio.get_running_loop()

    def slow(_connection: Connection) -> bool:
        loop.call_soon_threadsafe(begun.set)
        return let.wait(30)

    write = store.write(slow)
    await begun.wait()
    return let, write


def _events(store: Store) -> int:
    """How many somebody else sees."""
    engine = store.place.engine(writes=False)
    with engine.connect() as connection:
        found: int = connection.exec_driver_sql("SELECT count(*) FROM events").scalar_one()
    engine.dispose()
    return found


async def messages(store: Store) -> list[str]:
    kept = await store.read(lambda connection: events.newest(connection, None, 500))
    return [one["message"] for one in reversed(kept)]


@FILE_ONLY
async def test_commit_is_on_the_disk_when_it_returns_by_sqlites_own_words(store: Store) -> None:
    def pragmas(connection: Connection) -> tuple[object, ...]:
        return tuple(
            connection.exec_driver_sql(f"PRAGMA {name}").scalar()
            for name in ("journal_mode", "synchronous")
        )

    assert await store.write(pragmas) == ("wal", 2)  # 2 is FULL (sqlite.org/pragma.html)


async def test_burst_of_writes_is_one_transaction_in_the_order_of_asking(store: Store) -> None:
    let, first = await busy(store)
    commits = Commits(store)
    burst = [
        store.write(lambda connection, number=number: add(connection, str(number)))  # type: ignore[misc]
        for number in range(100)
    ]
    assert not any(one.done() for one in burst)
    let.set()
    ids = await asyncio.gather(*burst)
    assert await first
    assert commits.count == 2
    assert ids == sorted(ids)
    assert await messages(store) == [str(number) for number in range(100)]


async def test_write_is_answered_when_everybody_else_can_see_it(store: Store) -> None:
    for number in range(1, 21):
        await store.write(lambda connection: add(connection, "x"))
        assert _events(store) == number


async def test_reading_does_not_wait_for_a_write_and_sees_what_is_committed(store: Store) -> None:
    await store.write(lambda connection: add(connection, "before"))
    let, first = await busy(store)
    assert await messages(store) == ["before"]
    let.set()
    assert await first


async def test_write_that_fails_takes_no_other_with_it(
    store: Store, caplog: pytest.LogCaptureFixture
) -> None:
    def wrong(connection: Connection) -> None:
        add(connection, "half")
        connection.exec_driver_sql("INSERT INTO nowhere VALUES (1)").close()

    def broken(_connection: Connection) -> None:
        raise RuntimeError("a slip")

    let, first = await busy(store)
    good = [store.write(lambda connection: add(connection, "one"))]
    bad = [store.write(wrong), store.write(broken)]
    good.append(store.write(lambda connection: add(connection, "two")))
    let.set()
    with caplog.at_level(logging.ERROR):
        with pytest.raises(StoreError, match="nowhere"):
            await bad[0]
        with pytest.raises(RuntimeError, match="a slip"):
            await bad[1]
    assert await first
    await asyncio.gather(*good)
    assert "a slip" in caplog.text  # a mistake of this program is told with its place
    assert await messages(store) == ["one", "two"]


async def test_write_that_nobody_waits_for_any_more_is_not_done(store: Store) -> None:
    let, first = await busy(store)
    gone = store.write(lambda connection: add(connection, "gone"))
    stays = store.write(lambda connection: add(connection, "stays"))
    gone.cancel()
    await asyncio.sleep(0)  # the future's own word of it
    let.set()
    await stays
    assert await first
    assert await messages(store) == ["stays"]


async def test_end_with_nothing_left_to_write_needs_no_disk(store: Store) -> None:
    let, first = await busy(store)
    store.write(lambda connection: add(connection, "gone")).cancel()
    await asyncio.sleep(0)
    commits = Commits(store)
    let.set()
    assert await first
    await store.close()
    assert commits.count == 1


async def test_disk_that_hangs_makes_the_queue_only_so_long(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    let, first = await busy(store)
    monkeypatch.setattr(writer, "MAX_WAITING", 3)
    asked = [store.write(lambda connection: add(connection, "x")) for _ in range(4)]
    with pytest.raises(StoreError, match=r"3 writes wait for its \w+ already"):
        await asked[3]
    let.set()
    await asyncio.gather(*asked[:3])
    assert await first


async def test_closing_finishes_what_was_asked_for(store: Store) -> None:
    let, first = await busy(store)
    asked = [store.write(lambda connection: add(connection, "x")) for _ in range(5)]
    let.set()
    await store.close()
    assert await first
    assert _events(store) == 5
    assert len(await asyncio.gather(*asked)) == 5


async def test_disk_that_hangs_keeps_nobody_waiting_for_ever(
    tmp_path: Path, database: str | None
) -> None:
    store = Store(tmp_path, disk_s=0.05, database=database)
    let, first = await busy(store)
    with pytest.raises(StoreError, match=r"has not answered for 0\.05 s"):
        await store.confirmed(lambda connection: add(connection, "gone"))
    let.set()
    await first
    await store.write(lambda connection: add(connection, "later"))
    assert await messages(store) == ["later"]  # what nobody waits for any more is not done
    await store.close()


async def test_disk_that_hangs_on_reading_is_told_and_reading_goes_on(
    tmp_path: Path, database: str | None
) -> None:
    store = Store(tmp_path, disk_s=0.05, database=database)
    let = threading.Event()
    with pytest.raises(StoreError, match=r"has not answered for 0\.05 s"):
        await store.read(lambda _connection: let.wait(30))
    let.set()
    await store.write(lambda connection: add(connection, "x"))
    while True:
        with contextlib.suppress(StoreError):  # the first may be slow to end
            assert await messages(store) == ["x"]
            break
    await store.close()


async def test_disk_that_hangs_does_not_keep_the_store_from_closing(
    tmp_path: Path, database: str | None, caplog: pytest.LogCaptureFixture
) -> None:
    store = Store(tmp_path, disk_s=0.05, database=database)
    let, first = await busy(store)
    with caplog.at_level(logging.ERROR):
        await store.close()
    assert f"{store.place} has not answered: what waits for it is not written" in caplog.text
    let.set()
    await first


async def test_reading_that_fails_takes_no_other_with_it(store: Store) -> None:
    def broken(_connection: Connection) -> None:
        raise RuntimeError("a slip")

    with pytest.raises(RuntimeError, match="a slip"):
        await store.read(broken)
    with pytest.raises(StoreError, match="nowhere"):
        await store.read(lambda connection: connection.exec_driver_sql("SELECT * FROM nowhere"))
    assert await messages(store) == []
