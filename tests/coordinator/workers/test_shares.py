"""Shares that tasks tell from other processes."""

import multiprocessing
from pathlib import Path

import pytest

from coordinator.workers import shares as told
from coordinator.workers.shares import SharePlace, shares, tell_share, teller


def test_shares_of_other_processes_add_up_and_a_result_counts_as_itself() -> None:
    with shares(3) as found:
        assert found.total() == 0.0
        process = multiprocessing.get_context("spawn").Process(
            target=tell_share, args=(found.place(1), 0.5)
        )
        process.start()
        process.join()
        assert process.exitcode == 0
        tell_share(found.place(2), 0.25)
        assert found.total() == 0.75
        found.is_there(1)
        assert found.total() == 0.25


def test_whoever_tells_when_nobody_looks_any_more_does_no_harm(tmp_path: Path) -> None:
    with shares(1) as found:
        place = found.place(0)
    tell_share(place, 0.5)
    tell_share(SharePlace(str(tmp_path / "none"), 0), 0.5)
    assert list(tmp_path.iterdir()) == []


def test_a_share_is_told_once_it_has_grown(monkeypatch: pytest.MonkeyPatch) -> None:
    said: list[float] = []
    monkeypatch.setattr(told, "tell_share", lambda _place, share: said.append(share))
    tell = teller(SharePlace("none", 0))
    for share in (0.004, 0.02, 0.025, 0.5):
        tell(share)
    assert said == [0.02, 0.5]
    tell(1.0)
    assert said[-1] == 0.99
    teller(None)(0.5)
    assert said == [0.02, 0.5, 0.99]
