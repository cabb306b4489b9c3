"""Processes that end with the one that started them, whatever becomes of it or of them."""

import contextlib
import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from multiprocessing.connection import Connection
from multiprocessing.context import SpawnProcess
from multiprocessing.reduction import ForkingPickler
from types import MappingProxyType
from typing import Any, Final, ParamSpec, TypeVar

from coordinator import compiled

Given = ParamSpec("Given")
Result = TypeVar("Result")

# Not forked: this process may have threads, of which a fork would keep the locks only.
SPAWN: Final = multiprocessing.get_context("spawn")
END_S: Final = 10.0
"""For a child to end that was asked to: a coordinator holds what moves first."""


def start_child(work: Callable[..., Any], *arguments: Any, daemon: bool = False) -> SpawnProcess:
    """Start a process for `work`, which Ctrl-C does not reach. From the main thread only."""
    process = SPAWN.Process(target=work, args=arguments, daemon=daemon)
    # Ctrl-C reaches a whole process group, but is for this process alone: what is ignored while
    # a child starts stays so in it.
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        process.start()
    finally:
        signal.signal(signal.SIGINT, before)
    return process


def end_child(process: SpawnProcess) -> None:
    """Ask a process to end, and see to it that it does."""
    process.terminate()
    process.join(END_S)
    if process.is_alive():
        process.kill()
        process.join()


@contextlib.contextmanager
def child(
    work: Callable[..., Any], *arguments: Any, daemon: bool = False
) -> Iterator[SpawnProcess]:
    """A child process as a context that ends it."""
    process = start_child(work, *arguments, daemon=daemon)
    try:
        yield process
    finally:
        end_child(process)


class _DeafPool(ProcessPoolExecutor):
    """Its processes begin when there is work for them, and Ctrl-C must not reach one even then."""

    def submit(
        self, fn: Callable[Given, Result], /, *args: Given.args, **kwargs: Given.kwargs
    ) -> Future[Result]:
        # What is blocked while a process starts stays so in it; here it is only put off.
        before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
        try:
            return super().submit(fn, *args, **kwargs)
        finally:
            signal.pthread_sigmask(signal.SIG_SETMASK, before)


@contextlib.contextmanager
def process_pool(count: int | None = None) -> Iterator[Executor]:
    """An executor of so many processes, or one for each processor, which Ctrl-C does not reach.

    What they do runs compiled where that is built. They end at once when it is left, and with this
    process whatever becomes of it.
    """
    theirs, ours = SPAWN.Pipe(duplex=False)
    pool = _DeafPool(count or os.cpu_count(), SPAWN, _begin, (theirs,))
    try:
        yield pool
    finally:
        ours.close()
        pool.shutdown(cancel_futures=True)
        theirs.close()


def _begin(pipe: Connection) -> None:
    """End when the other end of the pipe is closed, which the end of its process does too."""
    compiled.use()
    threading.Thread(target=_wait_for_end, args=(pipe,), daemon=True).start()


def _wait_for_end(pipe: Connection) -> None:
    with contextlib.suppress(EOFError, OSError):
        pipe.recv()
    os._exit(1)


def _plain(mapping: MappingProxyType[Any, Any]) -> tuple[Any, ...]:
    return _read_only, (dict(mapping),)


def _read_only(mapping: dict[Any, Any]) -> MappingProxyType[Any, Any]:
    return MappingProxyType(mapping)


# An arm's poses are read-only, which pickle does not know how to do; who sends an arm to a process
# that was started here needs no more.
ForkingPickler.register(MappingProxyType, _plain)
