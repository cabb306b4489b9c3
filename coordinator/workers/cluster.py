"""A cluster of machines that do work for this one: `dask.distributed`, which is an extra."""

import contextlib
import hashlib
import logging
from collections.abc import Iterator
from concurrent.futures import Executor
from importlib.util import find_spec
from pathlib import Path
from typing import Final

from coordinator.codes.os_words import os_words

PACKAGES: Final = ("protocol", "simulator", "coordinator")
ANSWER_S: Final = 5.0
"""For a scheduler to answer."""


class ClusterError(RuntimeError):
    """The cluster cannot do the work; says which and why."""


class AddressError(ClusterError):
    """No scheduler can be asked at what was given; says what it must be."""


@contextlib.contextmanager
def cluster(address: str) -> Iterator[Executor]:
    """An executor of all workers of the scheduler at an address.

    Raises AddressError, and ClusterError where none answers, where it has no workers, and where one
    has other sources than these, as its results would be other ones too. Where all of it is lost
    meanwhile, what is waited for raises CancelledError.
    """
    if find_spec("distributed") is None:
        raise ClusterError("a cluster needs dask.distributed: pip install 'unisono[cluster]'")
    from distributed import Client

    _require_address(address)
    # What it has to say of a connection that fails is told in a sentence instead.
    for name in logging.root.manager.loggerDict:
        if name.startswith("distributed"):
            logging.getLogger(name).setLevel(logging.CRITICAL)
    try:
        client = Client(address, timeout=ANSWER_S, set_as_default=False)
    except (OSError, ValueError) as error:
        raise ClusterError(f"no cluster answers at {address}: {os_words(error)}") from error
    with client:
        digests = client.run(source_digest, on_error="return")
        if not digests:
            raise ClusterError(f"the cluster at {address} has no workers")
        for worker, digest in digests.items():
            if digest != source_digest():
                raise ClusterError(
                    f"{worker}, a worker of {address}, has another Unisono than this"
                )
        executor = client.get_executor()
        try:
            yield executor
        finally:
            executor.shutdown(wait=False)  # which cancels what is under way


def _require_address(address: str) -> None:
    """Raise AddressError. A client that is made for such an address is not rid of in silence."""
    from distributed.comm import get_address_host_port

    try:
        host, port = get_address_host_port(address)
    except ValueError:
        host, port = "", 0
    if not host or not 1 <= port <= 65535:
        raise AddressError(
            f"{address!r} is no address of a cluster's scheduler, such as tcp://192.168.1.20:8786"
        )


def source_digest() -> str:
    """SHA-256 of all that Unisono's sources are, wherever they are."""
    digest = hashlib.sha256()
    for name in PACKAGES:
        found = find_spec(name)
        assert found is not None
        assert found.origin is not None
        folder = Path(found.origin).parent
        for path in sorted(folder.rglob("*.py")):
            digest.update(f"{name}/{path.relative_to(folder).as_posix()}\n".encode())
            digest.update(path.read_bytes())
    return digest.hexdigest()
