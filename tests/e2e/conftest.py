"""A bench of its own for every end-to-end test."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.e2e.harness import Bench, bench


@pytest.fixture(name="bench")
def bench_of_three(tmp_path: Path) -> Iterator[Bench]:
    """Three joints, a key, nothing running."""
    with bench(tmp_path) as made:
        yield made
