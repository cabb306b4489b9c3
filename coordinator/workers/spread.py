"""Work shared out by an executor, whose processes may be here or on other machines."""

from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Executor, Future, wait
from itertools import islice
from typing import Final, TypeVar

Task = TypeVar("Task")
Result = TypeVar("Result")

AHEAD: Final = 512
"""Tasks handed over at a time: more than there are processors, and not so many that their texts
fill the memory."""
LOOK_S: Final = 0.1
"""Between two looks at whether anybody still wants results."""


def spread(
    executor: Executor,
    work: Callable[[Task], Result],
    tasks: Iterable[Task],
    is_cancelled: Callable[[], bool],
) -> Iterator[Result]:
    """Results as they come, in any order; no more once it is cancelled.

    What is handed over by then is ended by whoever made the executor. It is not cancelled here: a
    process pool whose processes end while it has cancelled tasks dies of them (CPython 3.11).
    `work`, tasks and results go from one process to another, so they must be picklable. Raises what
    the work raised, and BrokenExecutor where who does it has ended.
    """
    left = iter(tasks)
    waiting: set[Future[Result]] = set()
    while not is_cancelled():
        for task in islice(left, AHEAD - len(waiting)):
            waiting.add(executor.submit(work, task))
        if not waiting:
            return
        done, waiting = wait(waiting, LOOK_S, FIRST_COMPLETED)
        for one in done:
            yield one.result()
