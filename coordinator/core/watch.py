"""Feeds what joints say of themselves to the warnings, and tells people what begins and ends."""

from collections.abc import Iterable
from typing import Final

from coordinator.codes.alarm_state import AlarmState
from coordinator.codes.level import Level
from coordinator.codes.refusal import RefusalCode
from coordinator.config.arm import Arm
from coordinator.core.events import Refused
from coordinator.core.link.link import JointLink
from coordinator.core.link.words import not_heard
from coordinator.core.outbox import Outbox
from coordinator.health.alarm_flood import WITHIN_US
from coordinator.health.alarm_kind import Finding, Kind
from coordinator.health.alarm_place import Shelf, StandingWarning
from coordinator.health.home_wandered import wandered
from coordinator.health.link import CLOCK, DOUBTED, LOST
from coordinator.health.supply_chain import SupplyChain
from coordinator.health.warnings import WarningKeeper

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
        changes = self.warnings.observe(link.name, findings, now)
        ended = {change.warning.kind.code for change in changes if not change.began}
        for change in changes:
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
                also = kind is DOUBTED and CLOCK.code in ended
                code = f"{kind.code}-over"
                self._outbox.note(now, Level.INFO, code, message, link.name, detail=also)

    # ---- what people say of them --------------------------------------------------------------

    def acknowledge(self, number: int, now: int) -> StandingWarning | None:
        """Somebody acknowledges a warning; None if none of that number stands, or is over unseen.

        What is acknowledged already, or on the shelf, stays as it is.
        """
        found = self.warnings.find(number)
        if isinstance(found, Shelf) or found is None:
            return None
        if found.state in (AlarmState.ACKNOWLEDGED, AlarmState.SHELVED):
            return found
        over = " (it is over)" if found.state is AlarmState.RETURNED else ""
        message = f"acknowledged: {found.message}{over}"
        self._outbox.note(now, Level.INFO, "warning-acknowledged", message, found.joint)
        return self.warnings.acknowledge(number)

    def require_shelvable(self, number: int) -> tuple[str, Kind] | None:
        """Joint and kind of a warning; None where none of that number is shown.

        Raises Refused where its sign must never be put aside.
        """
        found = self.warnings.find(number)
        if found is None:
            return None
        if not found.kind.may_be_shelved:
            raise Refused(
                RefusalCode.NOT_SHELVABLE,
                f"{found.kind.code} of {found.joint} is never shelved, as all of high priority: "
                f"{found.kind.consequence}",
            )
        return found.joint, found.kind

    def shelve(
        self, joint: str, kind: Kind, who: str, for_us: int, now: int, *, again: bool = False
    ) -> Shelf:
        """Somebody puts the sign of a joint's kind aside. Nothing else changes with that.

        `again`: somebody did so before the coordinator began.
        """
        shelf = self.warnings.shelve(joint, kind, who, now + for_us)
        minutes = f"{for_us / 60e6:.0f} min"
        message = f"{who} shelved {kind.code} of {joint} for {minutes}: its sign is put aside"
        if again:
            message = f"{kind.code} of {joint} stays shelved by {who} for {minutes} more"
        self._outbox.note(now, Level.INFO, "warning-shelved", message, joint)
        return shelf

    def tell_of_end(self, joint: str, kind: Kind, who: str, now: int) -> None:
        """A shelf from before the coordinator began was over by then: that has a line too."""
        over = "was over before the coordinator began anew"
        message = f"{who}'s time for {kind.code} of {joint} {over}"
        self._outbox.note(now, Level.INFO, "warning-unshelved", message, joint)

    def recall(self, joint: str, kind: Kind, message: str, ago_us: int, now: int) -> None:
        """Nobody had seen it before the coordinator began anew, that long after it had begun."""
        anew = "before the coordinator began anew; if it is so still, it is told again"
        self.warnings.recall(joint, kind, f"{message} ({anew})", now - ago_us, now)

    def unshelve(self, number: int, who: str, now: int) -> Shelf | None:
        """Somebody takes a kind off the shelf; None if none of that number is on it."""
        shelf = self.warnings.unshelve(number, now)
        if shelf is not None:
            self._tell_of_return(shelf, f"{who} took {shelf.kind.code} of {shelf.joint}", now)
        return shelf

    def step(self, now: int) -> None:
        """Take note of the time: shelves end, and floods begin and end."""
        for shelf in self.warnings.step(now):
            time_is_over = f"{shelf.who}'s time is over for {shelf.kind.code} of {shelf.joint}"
            self._tell_of_return(shelf, f"{time_is_over}: taken", now)
        flood = self.warnings.flood
        if not flood.step(now):
            return
        if flood.since_us is None:
            message = "the flood of alarms is over"
            self._outbox.note(now, Level.INFO, "alarm-flood-over", message)
            return
        origins = ", ".join(f"{count} of {origin}" for origin, count in flood.by_origin.items())
        message = (
            f"a flood of alarms: {flood.count} within {WITHIN_US / 60e6:.0f} minutes ({origins}); "
            "look first at what came first"
        )
        self._outbox.note(now, Level.ATTENTION, "alarm-flood", message)

    def _tell_of_return(self, shelf: Shelf, what: str, now: int) -> None:
        stands = self.warnings.stands(shelf.joint, shelf.kind)
        level = shelf.kind.level if stands else Level.INFO
        message = f"{what} off the shelf: it is {'so still' if stands else 'not so now'}"
        self._outbox.note(now, level, "warning-unshelved", message, shelf.joint)

    def slept(self, by_us: int) -> None:
        """Arm time stood still while the host slept; what people were told of ends by the clock."""
        self.warnings.sooner(by_us)
