"""Runs: how they go and went."""

from typing import TYPE_CHECKING

from coordinator.answers.records import RunInShort
from coordinator.answers.way import WayBack
from coordinator.client.errors import RunHeld, RunNotFinished
from coordinator.client.questions.asked import Asked
from coordinator.client.questions.older import REPORT_MAY_LACK
from coordinator.client.questions.patience import LONGEST_S, PLANNING_S
from coordinator.codes.outcome import Outcome

if TYPE_CHECKING:
    from coordinator.client.values import KeptReport, RunGoing, RunOver


class RunQuestions(Asked):
    """What becomes of what is played."""

    async def wait_for_run(self, number: int) -> "KeptReport":
        """Wait until a run has finished; its report.

        A pause of the program is waited out: somebody else resumes. Raises RunHeld where the
        run rests on its path, or an input that it waits for did not come, or something kept it from
        waiting; RunNotFinished where it ended otherwise. To wait no longer ends no
        run: it goes on unless it is held or stopped.
        """
        while not (state := await self.run(number)).needs_somebody:
            await self._look()
        report = await self.report(number)
        if state.phase != "ended":
            raise RunHeld(f"run {number} is {state.phase}: {state.message}", report)
        if report.outcome != Outcome.FINISHED:
            raise RunNotFinished(f"run {number} was {report.outcome}: {report.message}", report)
        return report

    async def run(self, number: int) -> "RunGoing | RunOver":
        """Where a run is."""
        answer = await self._asking.ask("run", "GET", f"/runs/{number}", has="phase")
        from coordinator.client.values import RunGoing, RunOver

        is_over = answer["phase"] in ("ended", "ending")
        return (
            self._asking.read(RunOver, answer) if is_over else self._asking.read(RunGoing, answer)
        )

    async def runs(self, limit: int = 100, before: int | None = None) -> tuple[RunInShort, ...]:
        """Runs in short, newest first, at most 500; those before the one of this number."""
        more = "" if before is None else f"&before={before}"
        answer = await self._asking.ask("runs", "GET", f"/runs?limit={limit}{more}", has="runs")
        return self._asking.read(tuple[RunInShort, ...], answer["runs"], "runs")

    async def last_run(self) -> int | None:
        """The newest run's number, None if nothing was played yet."""
        runs = await self.runs(limit=1)
        return runs[0].run if runs else None

    async def report(self, number: int) -> "KeptReport":
        """What a run was, or is so far."""
        answer = await self._asking.ask("report", "GET", f"/runs/{number}/report", has="run")
        from coordinator.client.values import KeptReport

        return self._asking.read(KeptReport, {**REPORT_MAY_LACK, **answer})

    async def run_record(self, number: int) -> str:
        """A run's record, an HTML file that can be printed and handed on: its text."""
        return await self._text(f"/runs/{number}/record", "text/html", PLANNING_S)

    async def way_back(self, number: int, from_line: int | None = None) -> WayBack:
        """Where joints would be as the line begins in which a run was last, or another line."""
        which = "" if from_line is None else f"?from_line={from_line}"
        path = f"/runs/{number}/way{which}"
        answer = await self._asking.ask("way", "GET", path, has="angles_deg", patience_s=LONGEST_S)
        return self._asking.read(WayBack, answer)
