"""A backup or a restore by a process that may no more than file modes say: root without its powers.

Run as `python powerless.py backup DATA ARM TO` or `python powerless.py restore FILE DATA`: prints
`done`, or the sentence it gets.
"""

import sys
from pathlib import Path

from coordinator.backup.make import back_up
from coordinator.backup.restore import restore
from coordinator.config.data_folder import DataFolderError
from tests.coordinator.backup.kit import NOW
from tests.coordinator.store.powerless import drop_powers

if __name__ == "__main__":
    drop_powers()
    what, *paths = sys.argv[1:]
    try:
        if what == "backup":
            back_up(Path(paths[0]), Path(paths[1]), Path(paths[2]), None, NOW)
        else:
            restore(Path(paths[0]), Path(paths[1]), None, NOW, replace=True)
    except DataFolderError as error:
        sys.stdout.write(str(error))
    else:
        sys.stdout.write("done")
