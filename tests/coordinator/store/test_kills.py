"""Invariant I10: what was confirmed survives `kill -9`. `python -m tests.bench --tables store`
kills more often.
"""

from pathlib import Path

import pytest

from tests.bench.store_kills import kill


@pytest.mark.timeout(300)  # each kill takes a new process
async def test_nothing_that_was_confirmed_is_missing_after_kills_at_random_instants(
    tmp_path: Path,
) -> None:
    found = await kill(15, 1, tmp_path)
    assert found.missing == []
    assert found.kills == 15
    for kind in (
        found.runs,
        found.events,
        found.acknowledgements,
        found.settings,
        found.taught,
    ):
        assert len(kind) > 0


async def test_store_that_confirms_before_its_commit_is_found_out(tmp_path: Path) -> None:
    found = await kill(3, 1, tmp_path, mode="too-early")
    assert found.missing
