"""Processes that end with the one that started them, whatever becomes of it or of them."""

import contextlib
import multiprocessing
import signal
from collections.abc import Callable, Iterator
from multiprocessing.context import SpawnProcess
from typing import Any, Final

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
