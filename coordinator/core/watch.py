"""Feeds what joints say of themselves to the warnings, and tells people what begins and ends."""

from collections.abc import Iterable
from typing import Final

from coordinator.codes.level import Level
from coordinator.config.arm import Arm
from coordinator.core.link.link import JointLink
from coordinator.core.link.words import not_heard
from coordinator.core.outbox import Outbox
from coordinator.health.home_wandered import wandered
from coordinator.health.link import LOST
from coordinator.health.supply_chain import SupplyChain
from coordinator.health.warnings import Finding, StandingWarning, WarningKeeper

LOOK_US: Final = 1_000_000
"""A look each second will do for what changes slowly: nothing here may cost the arm time."""
NEWS_US: Final = 200_000
"""What is new is looked at as often as a joint at rest is asked (design section 3)."""


class Watch:
    """The warnings of all joints of one arm."""

    def __init__(self, arm: Arm, outbox: Outbox) -> None:
        self.warnings = WarningKeeper()
        self.supply = SupplyChain(arm)
        self._outbox = outbox
        self._looked: dict[str, tuple[int, tuple[object, ...]]] = {}
        """By joint: when it was looked at, and what it said then."""
        self._silent_since_us: dict[str, int] = {}
        """Of joints that are not heard: when their last word came."""

    def observe(self, link: JointLink, now: int) -> None:
        """A status came from a joint."""
        status = link.status
        if status is None:
            return
        self.supply.observe(link.index, status, now)
        looked_us, before = self._looked.get(link.name, (-LOOK_US, ()))
        if now - looked_us < NEWS_US:
            return
        said = (
            status.temperature_centi_c, status.supply_mv, status.fan_percent, status.faults,
            link.clock.locked, link.wandered,
        )  # fmt: skip
        if said == before and now - looked_us < LOOK_US:
            return
        self._looked[link.name] = now, said
        reason, ways = link.clock.reason, link.sync.ways(now)
        found = link.health.findings(status, reason, link.quality, ways, now)
        home = wandered(link.joint, link.home)
        self._take(link, (*found, self.supply.short(link.index), home), now)
        self._silent_since_us.pop(link.name, None)

    def look_for(self, link: JointLink, now: int, *, is_told: bool = False) -> None:
        """To be asked again and again: is a joint offline that was heard once?

        `is_told`: something else has a line for that, or will.
        """
        if not link.was_heard or link.heard(now):
            return
        self._looked.pop(link.name, None)  # its next word is news
        self._silent_since_us.setdefault(link.name, now if link.heard_us is None else link.heard_us)
        lost = Finding(LOST, True, not_heard(link))
        self._take(link, (lost,), now, detail=is_told)

    def _take(
        self, link: JointLink, findings: Iterable[Finding], now: int, *, detail: bool = False
    ) -> None:
        for change in self.warnings.observe(link.name, findings, now):
            warning, kind = change.warning, change.warning.kind
            if change.began:
                self._outbox.note(
                    now, kind.level, kind.code, warning.message, link.name, detail=detail
                )
            else:
                since_us = warning.since_us
                if kind is LOST:  # the warning began seconds after the silence
                    since_us = self._silent_since_us.get(link.name, since_us)
                message = f"{link.name} {kind.over}, after {(now - since_us) / 1e6:.0f} s"
                self._outbox.note(now, Level.INFO, f"{kind.code}-over", message, link.name)

    def acknowledge(self, number: int, now: int) -> StandingWarning | None:
        """Somebody acknowledges a warning; None if none of that number stands."""
        found = next((one for one in self.warnings.standing if one.id == number), None)
        if found is None or found.acknowledged:
            return found
        message = f"acknowledged: {found.message}"
        self._outbox.note(now, Level.INFO, "warning-acknowledged", message, found.joint)
        return self.warnings.acknowledge(number)
