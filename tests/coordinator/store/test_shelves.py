"""What is shelved is kept with its end, which no wall clock moves beyond what was asked for."""

from pathlib import Path

import pytest

from coordinator.store import Store, shelves


async def test_a_shelf_is_kept_until_its_time_is_over(
    tmp_path: Path, database: str | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    clock_s = [1_000_000]
    monkeypatch.setattr(shelves, "unix_now_s", lambda: clock_s[0])
    store = Store(tmp_path, database=database)

    async def left() -> list[tuple[str, str, int]]:
        return [(one.joint, one.who, one.left_s) for one in await store.read(shelves.every)]

    await store.confirmed(lambda c: shelves.put(c, "elbow", "supply-low", "the bench", 600))
    await store.confirmed(lambda c: shelves.put(c, "wrist", "supply-low", "the bench", 60))
    assert await left() == [("elbow", "the bench", 600), ("wrist", "the bench", 60)]
    await store.close()
    clock_s[0] += 90
    store = Store(tmp_path, database=database)
    assert await left() == [("elbow", "the bench", 510), ("wrist", "the bench", 0)]
    await store.confirmed(lambda c: shelves.put(c, "elbow", "supply-low", "a page", 120))
    await store.confirmed(lambda c: shelves.take(c, "wrist", "supply-low"))
    assert await left() == [("elbow", "a page", 120)]
    await store.close()


async def test_a_shelf_that_is_still_to_come_is_over(
    tmp_path: Path, database: str | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Somebody set the clock back: what is left of it nobody knows, and at each start it would be
    all of it again.
    """
    clock_s = [1_000_000]
    monkeypatch.setattr(shelves, "unix_now_s", lambda: clock_s[0])
    store = Store(tmp_path, database=database)
    await store.confirmed(lambda c: shelves.put(c, "elbow", "supply-low", "the bench", 600))
    clock_s[0] -= 1
    assert [one.left_s for one in await store.read(shelves.every)] == [0]
    await store.close()
