"""A process that may no more than its file modes say: root without its powers.

Run as `python powerless.py FOLDER`: opens the database there and prints the sentence it gets.
"""

import ctypes
import sys
from pathlib import Path

_VERSION_3 = 0x20080522
"""_LINUX_CAPABILITY_VERSION_3 of capget(2)."""


def drop_powers() -> None:
    """Give up all capabilities (capabilities(7)), such as writing what is read-only."""
    header = (ctypes.c_uint32 * 2)(_VERSION_3, 0)
    none = (ctypes.c_uint32 * 6)()
    libc = ctypes.CDLL(None, use_errno=True)
    if libc.capset(ctypes.byref(header), ctypes.byref(none)) != 0:
        raise OSError(ctypes.get_errno(), "capset")


if __name__ == "__main__":
    from coordinator.store import Store, StoreError

    drop_powers()
    try:
        Store(Path(sys.argv[1]))
    except StoreError as error:
        sys.stdout.write(str(error))
        sys.exit(0)
    sys.exit("the database was opened")
