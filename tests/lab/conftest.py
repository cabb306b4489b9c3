"""One laboratory for all tests of a process."""

import contextlib
from collections.abc import Iterator
from typing import TypeVar

import pytest

from tests.e2e.harness import before_others
from tests.lab.hosts import Keeping, NoLaboratoryError
from tests.lab.lab import Lab, lab

T = TypeVar("T")


def entered(stack: contextlib.ExitStack, context: contextlib.AbstractContextManager[T]) -> T:
    """Enter it, or fail in the one sentence that says why there is no laboratory here."""
    why = ""
    try:
        return stack.enter_context(context)
    except NoLaboratoryError as error:
        why = str(error)
    pytest.fail(why, pytrace=False)


@pytest.fixture(name="shared", scope="session")
def shared_laboratory(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Lab]:
    """Three joints with their hosts, nothing running."""
    with contextlib.ExitStack() as stack:
        yield entered(stack, lab(tmp_path_factory.mktemp("lab")))


@pytest.fixture(autouse=True)
def switch_never_waits() -> Iterator[None]:
    """The switch is a thread beside the test's own."""
    with before_others():
        yield


@pytest.fixture(name="lab")
def laboratory_in_order(shared: Lab) -> Lab:
    """Links are good and nothing moves; what else an earlier test left, `ready` puts right."""
    shared.tidy_up()
    return shared


@pytest.fixture(name="keeping")
def keeping_of_hosts() -> Iterator[Keeping]:
    """Hosts without an arm."""
    with contextlib.ExitStack() as stack:
        yield entered(stack, Keeping.running())
