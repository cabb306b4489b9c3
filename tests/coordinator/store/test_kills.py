"""Invariant I10: what was confirmed survives `kill -9`. `python -m tests.bench --tables store`
kills more often.
"""

from pathlib import Path

import pytest

from coordinator.history.cells import Cell, CellKey
from coordinator.history.quantities import Counts
from coordinator.store import Store, joint_history
from tests.bench.store_kills import HISTORY_FROM_S, Confirmed, kill


@pytest.mark.timeout(300)  # each kill takes a new process
async def test_nothing_that_was_confirmed_is_missing_after_kills_at_random_instants(
    tmp_path: Path, database: str | None
) -> None:
    kills = 15 if database is None else 4
    found = await kill(kills, 1, tmp_path, database=database)
    assert found.missing == []
    assert found.kills == kills
    for kind in (
        found.runs,
        found.events,
        found.acknowledgements,
        found.settings,
        found.taught,
        found.history,
    ):
        assert len(kind) > 0


async def test_store_that_confirms_before_its_commit_is_found_out(tmp_path: Path) -> None:
    found = await kill(3, 1, tmp_path, mode="too-early")
    assert found.missing


async def test_history_that_is_less_or_of_which_a_level_lacks_is_found_out(tmp_path: Path) -> None:
    store = Store(tmp_path)
    found = Confirmed(history={"elbow": 10})
    await store.read(found.look_at_newest)
    assert found.missing == ["elbow had 10 starts, kept by length of cells: {1: 0, 60: 0, 3600: 0}"]
    cells = {CellKey(60, "elbow", HISTORY_FROM_S): Cell(counts=Counts(starts=10))}
    await store.write(lambda connection: joint_history.add(connection, cells))
    found.missing.clear()
    await store.read(found.look_at_newest)
    assert "{1: 0, 60: 10, 3600: 0}" in found.missing[0]
    await store.close()
