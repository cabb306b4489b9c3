"""Whoever restores, or makes a backup, is killed. `python -m tests.bench --tables restore` kills
more often.
"""

from pathlib import Path

import pytest

from tests.bench.restore_kills import BY_TWO, at_every_step, at_random_times


@pytest.mark.timeout(600)  # each step is a restore
@pytest.mark.parametrize("what", ["restore", "backup"])
def test_whole_old_or_whole_new_is_there_whatever_step_it_is_killed_at(
    tmp_path: Path, what: str
) -> None:
    found = at_every_step(what, tmp_path)
    assert found.wrong == []
    assert found.kills > 20
    assert found.old > 0
    assert found.new > 0  # by kills behind the step that counts
    assert found.old + found.new == found.kills


@pytest.mark.timeout(600)
def test_between_two_renames_both_are_whole_beside_the_place_and_that_is_told(
    tmp_path: Path,
) -> None:
    found = at_every_step(BY_TWO, tmp_path)
    assert found.wrong == []
    assert found.between > 0
    assert found.old > 0
    assert found.new > 0
    assert found.old + found.between + found.new == found.kills


@pytest.mark.parametrize("what", ["restore", "backup"])
def test_whole_old_or_whole_new_is_there_after_kills_at_random_times(
    tmp_path: Path, what: str
) -> None:
    found = at_random_times(what, 10, 1, tmp_path)
    assert found.wrong == []
    assert found.kills == 10
