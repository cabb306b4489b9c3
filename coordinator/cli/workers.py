"""Work shared out to processes that end with this one, whatever becomes of it or of them."""

import contextlib
import os
from collections.abc import Callable, Iterator, Sequence
from multiprocessing.connection import Connection, wait
from typing import Any, TypeVar

from coordinator.children import SPAWN, child
from coordinator.cli.common import ExitCode, Failure
from coordinator.cli.watch import LOOK_S, Interrupts

Task = TypeVar("Task")
Result = TypeVar("Result")


def in_processes(
    work: Callable[[Task], Result], tasks: Sequence[Task], pressed: Interrupts
) -> Iterator[Result]:
    """Results as they come; no more once Ctrl-C was pressed.

    One process for each processor; `work`, tasks and results go from one to another, so they must
    be picklable. Raises Failure if a process ends before its work is done.
    """
    count = min(len(tasks), os.cpu_count() or 1)
    with contextlib.ExitStack() as stack:
        left: dict[Connection, int] = {}
        for k in range(count):
            share = tasks[k::count]
            left[stack.enter_context(_worker(work, share))] = len(share)
        while left and not pressed.count:
            for pipe in wait(list(left), LOOK_S):
                assert isinstance(pipe, Connection)
                try:
                    result: Result = pipe.recv()
                except EOFError:
                    raise Failure(
                        ExitCode.NOT_FINISHED, "one of the processes that do the work ended early"
                    ) from None
                left[pipe] -= 1
                if not left[pipe]:
                    del left[pipe]
                yield result


@contextlib.contextmanager
def _worker(work: Callable[[Any], Any], tasks: Sequence[Any]) -> Iterator[Connection]:
    ours, theirs = SPAWN.Pipe(duplex=False)
    with ours, child(_main, work, tasks, theirs, daemon=True):
        theirs.close()
        yield ours


def _main(work: Callable[[Any], Any], tasks: Sequence[Any], pipe: Connection) -> None:
    # Whoever wants no more results closes the pipe.
    with contextlib.suppress(BrokenPipeError):
        for task in tasks:
            pipe.send(work(task))
