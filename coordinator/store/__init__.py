"""The database, for what changes by use: one SQLite file in the data folder, or a PostgreSQL one.

What is confirmed is on the disk: writes are answered after their commit. No disk wait reaches the
event loop: one thread writes, another reads. Nobody waits for ever for a disk that hangs.
"""

from coordinator.store.database import DISK_S, Store
from coordinator.store.errors import StoreError

__all__ = ["DISK_S", "Store", "StoreError"]
