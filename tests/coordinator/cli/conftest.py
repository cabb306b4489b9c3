"""A coordinator that answers, for commands that are tried in the tests' own process."""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.coordinator.cli.elbow import TEXT
from tests.coordinator.cli.servers import Answer, served
from tests.e2e.harness import Bench, bench


@pytest.fixture(scope="module")
def jointless(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    """A real coordinator of the quick arm, none of whose joints is there."""
    with bench(tmp_path_factory.mktemp("arm")) as made:
        made.serve()
        yield made


@pytest.fixture(name="url")
def where_the_coordinator_is(coordinator: Callable[[str, bytes], Answer]) -> Iterator[str]:
    """Of the stand-in that a file of tests has for one."""
    with served(coordinator) as url:
        yield url


@pytest.fixture
def arm_file(tmp_path: Path) -> Path:
    """Of the quick arm."""
    file = tmp_path / "arm.toml"
    file.write_text(TEXT, encoding="utf-8")
    return file
