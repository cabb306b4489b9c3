"""What a disk does not take, in the log: said once, not again each time that it is tried."""

import logging


class TroubleLog:
    """An error is said as such while it is new, and as a detail as long as it stays the same."""

    def __init__(self, logger: logging.Logger) -> None:
        self._logger = logger
        self._why = ""

    def add(self, why: str, message: str) -> None:
        """Something was not done; `why` tells whether that is news."""
        self._logger.log(logging.DEBUG if why == self._why else logging.ERROR, "%s", message)
        self._why = why

    def over(self) -> None:
        """It is done again."""
        self._why = ""
