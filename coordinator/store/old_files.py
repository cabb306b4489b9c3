"""Reports from before there was a database: one JSON file per run, `runs/NNNN.json`.

They are imported once. Their folder is then renamed and kept, for its owner to delete.
"""

import json
import logging
import re
from pathlib import Path
from typing import Any, Final

from sqlalchemy import Connection, select

from coordinator.config.data_folder import sync_folder
from coordinator.store import runs
from coordinator.store.errors import StoreError
from coordinator.store.schema import RUNS

FOLDER: Final = "runs"
IMPORTED: Final = "runs-imported"
_NAME: Final = re.compile(r"(\d{4,9})\.json")
_logger = logging.getLogger(__name__)


def take(connection: Connection, data: Path) -> None:
    """Take in the reports of a data folder, if there are any. Raises StoreError."""
    folder = data / FOLDER
    if not folder.is_dir():
        return
    if (kept := data / IMPORTED).exists():
        raise StoreError(f"{folder} cannot be imported: {kept} is there already; move it away")
    known = set(connection.execute(select(RUNS.c.number)).scalars())
    try:
        for path in sorted(folder.iterdir()):
            match = _NAME.fullmatch(path.name)
            if match and int(match[1]) not in known:
                runs.save(connection, _read(int(match[1]), path))
    except OSError as error:
        raise StoreError(f"{folder} cannot be imported: {error.strerror}") from error


def put_away(data: Path) -> None:
    """Rename their folder once they are committed. Raises StoreError.

    Where that fails, the next start leaves alone what it finds imported already.
    """
    folder = data / FOLDER
    if not folder.is_dir():
        return
    try:
        folder.rename(data / IMPORTED)
        sync_folder(data)
    except OSError as error:
        raise StoreError(f"{folder} cannot be renamed: {error.strerror}") from error
    _logger.info("the reports in %s are in the database now; it is not read any more", folder)


def _read(run: int, path: Path) -> dict[str, Any]:
    """A file's report, or one that says that it is none: its number stays taken."""
    try:
        report: Any = json.loads(path.read_text(encoding="utf-8"))
        if not isinstance(report, dict) or report.get("run") != run:
            raise ValueError(f"it holds no report of run {run}")
        if not all(isinstance(report.get(key), str) for key in ("name", "outcome", "message")):
            raise ValueError("its name, outcome or message is missing")
    except (OSError, ValueError, RecursionError) as error:
        _logger.warning("%s is damaged: %s", path, error)
        message = f"its report is damaged: see {path.name} in {IMPORTED}"
        return {"run": run, "name": path.name, "outcome": "lost", "message": message}
    return report
