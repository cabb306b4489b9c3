"""A bench of its own for every end-to-end test, and turns for those of the demo."""

import fcntl
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.e2e.harness import Bench, bench


@pytest.fixture(name="bench")
def bench_of_three(tmp_path: Path) -> Iterator[Bench]:
    """Three joints, a key, nothing running."""
    with bench(tmp_path) as made:
        yield made


@pytest.fixture(name="turn")
def turn_of_one() -> Iterator[None]:
    """Hold a lock that all demo tests on this computer share: the demo arm's ids are fixed."""
    with (Path(tempfile.gettempdir()) / "unisono-demo-tests.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield
