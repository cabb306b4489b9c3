"""The command `unisono`: it puts the parts together, and is the only one to know the simulator.

Every process that a command starts imports this package first, and needs nothing of what the
command is made of.
"""

import os
import sys

from coordinator.cli.starting import collecting_nothing


def main() -> None:
    """Entry point of the command."""
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        if stream is None:  # the shell has closed it
            nowhere = os.open(os.devnull, os.O_WRONLY)
            setattr(sys, name, os.fdopen(nowhere, "w", encoding="utf-8"))
        else:
            # A file's name may be no text, and a terminal may not have all letters.
            stream.reconfigure(errors="backslashreplace")
    with collecting_nothing():
        from coordinator.cli.command import run
    sys.exit(run(sys.argv[1:]))
