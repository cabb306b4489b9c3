"""Homing the joints one after another, in the arm file's order."""

from enum import StrEnum
from typing import Any

from coordinator.core.link import JointLink
from coordinator.core.outbox import Outbox
from protocol.constants import EXPIRY_US
from protocol.messages import Homed, HomingFailed
from protocol.states import JointState

BEGIN_PATIENCE_US = 5_000_000
"""For clearing a latch, switching drivers on and hearing of it over a poor link."""
CUT_SHORT_MARGIN = 6.0
"""Times the patience of one search that a joint may take in all. On a poor link the permission
runs out in mid-search again and again; the joint comes nearer each time."""
EDGES_PATIENCE_US = 2_000_000
"""For a joint's report of its edges after its status says that it is homed: retransmissions of a
small TCP stack. The report is lost where the stream broke just then."""
SEARCH_MARGIN = 4.0
"""Times the travel at the fast speed: back to where the sensor was met, search, back-off, slow
passage, and ramps between them."""


class HomingState(StrEnum):
    """Where a homing is."""

    RUNNING = "running"
    DONE = "done"
    FAILED = "failed"


class HomingSequence:
    """One homing of several joints. The joint searches by itself; this only permits it."""

    def __init__(self, number: int, links: list[JointLink], outbox: Outbox, now: int) -> None:
        self.number = number
        self.links = links
        self.state = HomingState.RUNNING
        self.message = ""
        self.results: dict[str, dict[str, Any]] = {}
        self._outbox = outbox
        self._at = -1
        self._asked = 0
        self._numbers: dict[str, int] = {}
        """The number asked for last of each joint; its event may come after its status."""
        self._attempts = 0
        self._why = ""
        self._homed_us: int | None = None
        """When the joint whose turn it is was first seen to be homed."""
        self._since_us = self._turn_us = now
        self._next(now)

    @property
    def current(self) -> JointLink | None:
        """The joint that may home now."""
        return self.links[self._at] if self.state is HomingState.RUNNING else None

    def drive_fields(self, link: JointLink, now: int) -> tuple[int, int] | None:
        """Homing number and expiry for a joint's drive, None when it is not its turn."""
        if link is not self.current:
            return None
        return self._asked, now + EXPIRY_US

    def homed(self, link: JointLink, event: Homed, now: int) -> None:
        """A joint reports its edges."""
        if event.homing_number == self._numbers.get(link.name):
            per_degree = link.joint.counts_per_degree
            self.results[link.name] = {
                "edges": [
                    {
                        **edge.model_dump(),
                        "from_middle_deg": (edge.position - event.middle) / per_degree,
                    }
                    for edge in event.edges
                ],
                "middle": event.middle,
                "shift_deg": event.shift / per_degree,
            }
            self._outbox.note(now, "info", "homed", f"{link.name} is homed", link.name)

    def failed(self, link: JointLink, event: HomingFailed) -> None:
        """A joint reports that it found no home."""
        if link is self.current and event.homing_number == self._asked:
            self._why = event.message

    def forgotten(self, link: JointLink, why: str, now: int) -> None:
        """A joint no longer knows which homings it has carried out: it must not begin this anew."""
        if link is self.current:
            self.fail(f"{link.name} {why}: home it again", now)

    def fail(self, message: str, now: int) -> None:
        """End without success; nothing is permitted any more."""
        if self.state is HomingState.RUNNING:
            self.state = HomingState.FAILED
            self.message = message
            self._outbox.at_once = True
            self._outbox.note(now, "attention", "homing-failed", message)

    def step(self, now: int) -> None:
        """Go on to the next joint when one is done."""
        link = self.current
        if link is None:
            return
        status = link.status
        elapsed = now - self._since_us
        if not link.in_session or not link.heard(now):
            self.fail(f"{link.name} is not there: {link.message or 'silent'}", now)
        elif status is not None and status.homing_number == self._asked:
            if status.faults:
                self.fail(f"{link.name}: {self._why or 'it has a fault'}", now)
            elif status.state is JointState.READY and status.homed:
                self._await_edges(link, now)
            elif status.state is JointState.UNHOMED:
                self._again(link, now)
            elif elapsed > self._patience_us(link):
                self.fail(f"{link.name} is still searching after {elapsed / 1e6:.0f} s", now)
        elif elapsed > BEGIN_PATIENCE_US:
            state = status.state.word if status else "unknown"
            why = f"it is {state}" if link.clock.locked else link.clock.reason
            self.fail(f"{link.name} does not begin to home: {why}", now)

    def to_json(self) -> dict[str, Any]:
        """State and results as plain values, joints from base to tool."""
        current = self.current
        base_to_tool = [link.name for link in sorted(self.links, key=lambda link: link.index)]
        return {
            "number": self.number,
            "state": self.state.value,
            "message": self.message,
            "current": current.name if current else None,
            "asked": base_to_tool,
            "joints": {name: self.results[name] for name in base_to_tool if name in self.results},
        }

    def _await_edges(self, link: JointLink, now: int) -> None:
        """The joint is homed; its edges come on the stream, which may be slower than its status."""
        if self._homed_us is None:
            self._homed_us = now
        if link.name in self.results or now - self._homed_us > EDGES_PATIENCE_US:
            self._next(now)

    def _next(self, now: int) -> None:
        self._at += 1
        self._attempts = 0
        self._homed_us = None
        self._turn_us = now
        self._outbox.at_once = True
        if self._at >= len(self.links):
            self._at = len(self.links) - 1
            self.state = HomingState.DONE
            return
        self._ask(self.links[self._at], now)

    def _again(self, link: JointLink, now: int) -> None:
        """On a poor link a permission may run out in mid-search; the joint has come nearer."""
        if now - self._turn_us > CUT_SHORT_MARGIN * self._patience_us(link):
            self.fail(f"{link.name}: {self._why} ({self._attempts} attempts)", now)
        else:
            self._ask(link, now)

    def _ask(self, link: JointLink, now: int) -> None:
        self._since_us = now
        self._attempts += 1
        self._why = "it gave up homing"
        link.homing_number += 1
        self._asked = self._numbers[link.name] = link.homing_number
        self._outbox.at_once = True

    def _patience_us(self, link: JointLink) -> int:
        homing = link.joint.homing
        slow_s = 4 * homing.backoff_deg / homing.slow_deg_s
        return int((SEARCH_MARGIN * homing.travel_deg / homing.fast_deg_s + slow_s) * 1e6)
