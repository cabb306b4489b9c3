"""What is shelved is kept with its end, which no wall clock moves beyond what was asked for."""

from pathlib import Path

import pytest

from coordinator.store import Store, shelves


async def test_a_shelf_is_kept_until_its_time_is_over(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    clock_s = [1_000_000]
    monkeypatch.setattr(shelves, "unix_now_s", lambda: clock_s[0])
    store = Store(tmp_path)

    async def left() -> list[tuple[str, str, int]]:
        return [(one.joint, one.who, one.left_s) for one in await store.read(shelves.left)]

    await store.confirmed(lambda c: shelves.put(c, "elbow", "supply-low", "the bench", 600))
    await store.confirmed(lambda c: shelves.put(c, "wrist", "supply-low", "the bench", 60))
    assert await left() == [("elbow", "the bench", 600), ("wrist", "the bench", 60)]
    await store.close()
    clock_s[0] += 90
    store = Store(tmp_path)
    assert await left() == [("elbow", "the bench", 510)]
    clock_s[0] -= 86_400  # somebody set it back: it lasts no longer than was asked for
    assert [one[2] for one in await left()] == [600, 60]
    await store.confirmed(lambda c: shelves.put(c, "elbow", "supply-low", "a page", 120))
    await store.confirmed(lambda c: shelves.take(c, "wrist", "supply-low"))
    assert await left() == [("elbow", "a page", 120)]
    await store.close()
