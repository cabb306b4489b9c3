"""A coordinator that answers, for commands that are tried in the tests' own process."""

from collections.abc import Iterator

import pytest

from tests.e2e.harness import Bench, bench


@pytest.fixture(scope="module")
def jointless(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    """A real coordinator of the quick arm, none of whose joints is there."""
    with bench(tmp_path_factory.mktemp("arm")) as made:
        made.serve()
        yield made
