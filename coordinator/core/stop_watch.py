"""Tells people which joints do not confirm a stop in time, and when they have at last."""

from collections.abc import Sequence

from coordinator.codes.level import Level
from coordinator.core.link.link import JointLink
from coordinator.core.link.words import listed, not_reached
from coordinator.core.outbox import Outbox
from coordinator.core.run import Run


class StopWatch:
    """The stops of all joints of one arm, each told once."""

    def __init__(self, links: Sequence[JointLink], outbox: Outbox) -> None:
        self._links = links
        self._outbox = outbox
        self._told: dict[str, int] = {}
        """By joint whose stop is told as late: when that was asked for."""

    def step(self, now: int) -> None:
        """Look at every joint: to be called again and again."""
        late, at_last, waited_us = [], [], 0
        for link in self._links:
            name, orders = link.name, link.orders
            if orders.stop_is_late(now) and self._told.get(name) != orders.stop_us:
                self._told[name] = orders.stop_us
                late.append(name)
            elif not orders.stop_wanted and name in self._told:
                waited_us = max(waited_us, now - self._told.pop(name))
                at_last.append(name)
        if late:
            they = "it" if len(late) == 1 else "they"
            message = (
                f"{not_reached(late)}: {they} may still move; use the emergency stop that cuts the "
                "power"
            )
            self._outbox.note(now, Level.DANGER, "stop-unconfirmed", message, _one(late))
        if at_last:
            have = "has" if len(at_last) == 1 else "have"
            message = f"{listed(at_last)} {have} confirmed the stop, after {waited_us / 1e6:.1f} s"
            self._outbox.note(now, Level.INFO, "stop-confirmed", message, _one(at_last))


def _one(names: Sequence[str]) -> str | None:
    return names[0] if len(names) == 1 else None


def tell_of_stop(links: Sequence[JointLink], run: Run, why: str, outbox: Outbox, now: int) -> None:
    """A joint stopped the arm; a detail where it has told of its faults itself."""
    faulty = [link for link in links if link.status is not None and link.status.faults]
    found = {link: frozenset(link.status.faults.words) for link in faulty if link.status}
    is_told = bool(faulty) and all(words <= link.faults_told for link, words in found.items())
    for link, words in found.items():
        link.faults_told |= words
    message = f"{why}; the arm stops, and run {run.number} is over"
    outbox.note(now, Level.DANGER, "stop", message, detail=is_told)
