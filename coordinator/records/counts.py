"""How many runs, starts and holds there were since the coordinator began. Pure."""

from collections import Counter

from coordinator.core.run.report import Report


class RunCounts:
    """Counted from reports as they grow, one run after another. Numbers only rise."""

    def __init__(self) -> None:
        self.ended: Counter[str] = Counter()
        """Runs that are over, by outcome."""
        self.starts = self.partial_starts = self.holds = 0
        self._run: int | None = None
        self._counted = (0, 0, 0)
        """Starts, partial starts and holds of that run that are counted."""
        self._is_over = False

    def take(self, report: Report) -> None:
        """Look at a report in which there may be something new.

        In one of an earlier run nothing can be that is counted here: only its proofs may change.
        """
        if self._run is not None and report.run < self._run:
            return
        if report.run != self._run:
            self._run, self._counted, self._is_over = report.run, (0, 0, 0), False
        all_starts = len(report.starts) + report.starts_left_out
        all_holds = len(report.holds) + report.holds_left_out
        there = all_starts, report.partial_starts, all_holds
        starts, partial_starts, holds = self._counted
        self.starts += there[0] - starts
        self.partial_starts += there[1] - partial_starts
        self.holds += there[2] - holds
        self._counted = there
        if report.ended_us is not None and not self._is_over:
            self._is_over = True
            self.ended[report.outcome] += 1
