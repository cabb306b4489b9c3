"""When warnings began by the time of day, for people."""

from typing import Any

from coordinator.store.utc import utc_ago


class WarningTimes:
    """Works it out once for each warning, so that what is shown does not flicker."""

    def __init__(self) -> None:
        self._utc: dict[int, str] = {}

    def add_to(self, warnings: list[dict[str, Any]], now: int) -> None:
        """Add `since_utc` to all warnings that stand; `now` is arm time."""
        before = self._utc
        self._utc = {
            one["id"]: before.get(one["id"]) or utc_ago(now - one["since_us"]) for one in warnings
        }
        for one in warnings:
            one["since_utc"] = self._utc[one["id"]]
