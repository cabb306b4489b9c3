"""Feeds what joints say of themselves to the warnings, and tells people what begins and ends."""

from collections.abc import Iterable
from typing import Final

from coordinator.core.link import JointLink, LinkState
from coordinator.core.outbox import Outbox
from coordinator.health.link import lost
from coordinator.health.warnings import Finding, StandingWarning, WarningKeeper

LOOK_US: Final = 1_000_000
"""A look each second will do for what changes slowly: nothing here may cost the arm time."""
NEWS_US: Final = 200_000
"""What is new is looked at as often as a joint at rest is asked (design section 3)."""


class Watch:
    """The warnings of all joints of one arm."""

    def __init__(self, outbox: Outbox) -> None:
        self.warnings = WarningKeeper()
        self._outbox = outbox
        self._looked: dict[str, tuple[int, tuple[object, ...]]] = {}
        """By joint: when it was looked at, and what it said then."""
        self._heard: set[str] = set()
        """Joints that were heard once, in this session or before."""

    def observe(self, link: JointLink, now: int) -> None:
        """A status came from a joint."""
        status = link.status
        if status is None:
            return
        self._heard.add(link.name)
        looked_us, before = self._looked.get(link.name, (-LOOK_US, ()))
        if now - looked_us < NEWS_US:
            return
        said = (
            status.temperature_centi_c, status.supply_mv, status.fan_percent, status.faults,
            link.clock.locked,
        )  # fmt: skip
        if said == before and now - looked_us < LOOK_US:
            return
        self._looked[link.name] = now, said
        self._take(link, link.health.findings(status, link.clock.reason, link.quality, now), now)

    def look_for(self, link: JointLink, now: int) -> None:
        """To be asked again and again: is a joint silent that was heard once?"""
        if link.name not in self._heard or link.heard(now):
            return
        self._looked.pop(link.name, None)  # its next word is news
        refused = link.state in (LinkState.REFUSED, LinkState.CONFLICT)
        self._take(link, (lost(link.name, link.message if refused else ""),), now)

    def _take(self, link: JointLink, findings: Iterable[Finding], now: int) -> None:
        for change in self.warnings.observe(link.name, findings, now):
            warning, kind = change.warning, change.warning.kind
            if change.began:
                self._outbox.note(now, kind.level, kind.code, warning.message, link.name)
            else:
                stood_s = (now - warning.since_us) / 1e6
                message = f"{link.name} {kind.over}, after {stood_s:.0f} s"
                self._outbox.note(now, "info", f"{kind.code}-over", message, link.name)

    def acknowledge(self, number: int, now: int) -> StandingWarning | None:
        """Somebody has seen a warning; None if none of that number stands."""
        found = next((one for one in self.warnings.standing if one.id == number), None)
        if found is None or found.acknowledged:
            return found
        message = f"somebody has seen this: {found.message}"
        self._outbox.note(now, "info", "warning-seen", message, found.joint)
        return self.warnings.acknowledge(number)
