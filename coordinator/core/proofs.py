"""Proofs of starts that rest on a clock which was wrong."""

from collections.abc import Mapping

from coordinator.codes.level import Level
from coordinator.core.events import ReportGrew
from coordinator.core.link.link import JointLink
from coordinator.core.outbox import Outbox
from coordinator.core.run.report import Report


def take_back_proofs(
    reports: Mapping[int, Report], link: JointLink, since: int, outbox: Outbox, now: int
) -> None:
    """No report may go on to state what rests on a clock that was wrong since then."""
    starts = 0
    for report in reports.values():
        if found := report.take_back(link.name, since):
            starts += found
            outbox.actions.append(ReportGrew(report.run))
    if starts:
        message = (
            f"{link.name}: its clock was found wrong; {starts} start{'s' * (starts > 1)} that "
            f"counted as proved by it {'do' if starts > 1 else 'does'} not any more"
        )
        outbox.note(now, Level.ATTENTION, "proof-taken-back", message, link.name)
