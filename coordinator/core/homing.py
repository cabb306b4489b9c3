"""Homing the joints one after another, in the arm file's order."""

from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

from coordinator.codes.level import Level
from coordinator.codes.refusal import RefusalCode
from coordinator.config.joint import Joint
from coordinator.core.events import Refused
from coordinator.core.jogging import JOG_RENEWAL_US
from coordinator.core.link.link import JointLink
from coordinator.core.link.words import listed, not_heard
from coordinator.core.outbox import Outbox
from coordinator.core.skew import too_vague
from coordinator.health.home_state import FoundHome, after
from protocol.constants import EXPIRY_US
from protocol.messages import Homed, HomingFailed
from protocol.states import JointState

BEGIN_PATIENCE_US: Final = 5_000_000
"""For clearing a latch, switching drivers on and hearing of it over a poor link."""
CUT_SHORT_MARGIN: Final = 6.0
"""Times the patience of one search that a joint may take in all. On a poor link the permission
runs out in mid-search again and again; the joint comes nearer each time."""
EDGES_PATIENCE_US: Final = 2_000_000
"""For a joint's report of its edges after its status says that it is homed: retransmissions of a
small TCP stack. The report is lost where the stream broke just then."""
LET_GO_US: Final = 1_000_000
"""A control that was held as its homing ended, and that is silent for so long, was let go since."""
SEARCH_MARGIN: Final = 4.0
"""Times the travel at the fast speed: back to where the sensor was met, search, back-off, slow
passage, and ramps between them."""


class HomingState(StrEnum):
    """Where a homing is."""

    RUNNING = "running"
    DONE = "done"
    FAILED = "failed"


@dataclass(frozen=True, slots=True)
class FoundEdge:
    """One passage of the home sensor's edge."""

    position: int
    """Counts, in the frame before homing."""
    rising: bool
    fast: bool
    """Whether it was met at the fast speed; the slow passages are what counts."""
    from_middle_deg: float


@dataclass(frozen=True, slots=True)
class JointHoming:
    """What was found of one joint."""

    edges: tuple[FoundEdge, ...]
    middle: int
    """Counts, in the frame before homing: the middle between the edges, which is home."""
    home_offset_deg: float
    """What was added to every angle to make it so."""
    shift_deg: float | None = None
    """How far home was found from where the joint, homed until then, believed it to be, without
    whole turns. None where it was not homed as it began: then nobody knows."""
    temperature_c: float | None = None
    """At its driver as it was told; None where nothing can be believed."""
    controller: str | None = None
    """The id of the controller that found it; None, as the next, in homings of before it was kept.
    """
    figures: str | None = None
    """What a place depends on, as the joint was told it: other figures, other places."""
    wandered_deg: float | None = None
    """How far home was from its reference when that was beyond the limit last and nobody had
    accepted it: the joint does not count as homed. None where it does."""
    reference: int | None = None
    """The homing with which this one is compared, itself where with none: kept with it, so that it
    is known however many homings there were since. None, as the next, in older homings."""
    since_reference_deg: float | None = None
    """How far home is from where the reference found it."""


@dataclass(frozen=True, slots=True)
class HomingSnapshot:
    """How a homing goes or went."""

    number: int
    state: HomingState
    message: str
    """Why it failed; empty if it did not."""
    current: str | None
    """The joint that searches now."""
    asked: tuple[str, ...]
    """The joints that it is for, base to tool."""
    joints: dict[str, JointHoming]
    """What was found so far, by joint."""
    held: bool | None = None
    """Whether it moved only while a control was held; None where that is not known."""


def _temperature_c(link: JointLink) -> float | None:
    """At its driver, None where it is not known or cannot be believed."""
    if link.status is None or link.health.sensor.trouble:
        return None
    centi_c = link.status.temperature_centi_c
    return None if centi_c is None else centi_c / 100


def figures_in_words(joint: Joint) -> str:
    """In words what the places of home and of its edges depend on."""
    homing = joint.homing
    return (
        f"{joint.counts_per_degree:g} counts/°, home at {joint.home_deg:g}°, searched "
        f"{'up' if homing.direction > 0 else 'down'}wards at {homing.fast_deg_s:g} °/s and "
        f"{homing.slow_deg_s:g} °/s"
    )


def _as_found(number: int, found: JointHoming) -> FoundHome:
    """The same as what is kept of it."""
    return FoundHome(
        homing=number,
        utc=None,
        passages=(),
        shift_deg=found.shift_deg,
        temperature_c=found.temperature_c,
        controller=found.controller,
        figures=found.figures,
        follows=True,
    )


class HomingSequence:
    """One homing of several joints. The joint searches by itself; this only permits it."""

    def __init__(
        self,
        number: int,
        links: list[JointLink],
        outbox: Outbox,
        now: int,
        *,
        held: bool = False,
    ) -> None:
        """`held`: it moves only while `renewed`."""
        self.number = number
        self.links = links
        self.state = HomingState.RUNNING
        self.message = ""
        self.results: dict[str, JointHoming] = {}
        self._outbox = outbox
        self._at = -1
        self._asked = 0
        self._numbers: dict[str, int] = {}
        """The number asked for last of each joint; its event may come after its status."""
        self._attempts = 0
        self._begun_at: int | None = None
        """Counts where the joint whose turn it is stood before its first attempt."""
        self._why = ""
        self._homed_us: int | None = None
        """When the joint whose turn it is was first seen to be homed."""
        self._since_us = self._turn_us = now
        self._known_faults = {link: link.faults for link in links}
        """What its command clears. A fault that comes later ends it, cleared with them or not."""
        self._faulted: set[JointLink] = set()
        """Joints that told of one since."""
        self._held_us = now if held else None
        """When its control was held last; None where it goes on by itself."""
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
            edges = tuple(
                FoundEdge(
                    edge.position,
                    edge.rising,
                    edge.fast,
                    from_middle_deg=(edge.position - event.middle) / per_degree,
                )
                for edge in event.edges
            )
            # The axis was not where it was believed by `lost`: home lay the other way from there.
            lost = event.lost
            found = JointHoming(
                edges,
                event.middle,
                event.shift / per_degree,
                shift_deg=None if lost is None else 0.0 - lost / per_degree,
                temperature_c=_temperature_c(link),
                controller=link.joint.id,
                figures=figures_in_words(link.joint),
            )
            limit_deg = link.joint.home_shift_limit_deg
            link.home = after(link.home, _as_found(self.number, found), limit_deg)
            self.results[link.name] = replace(
                found,
                wandered_deg=link.home.wandered_deg,
                reference=link.home.reference,
                since_reference_deg=link.home.since_reference_deg,
            )
            self._outbox.note(
                now, Level.INFO, "homed", f"{link.name} is homed", link.name, detail=True
            )

    def failed(self, link: JointLink, event: HomingFailed) -> None:
        """A joint reports that it found no home."""
        if link is self.current and event.homing_number == self._asked:
            self._why = event.message

    def forgotten(self, link: JointLink, why: str, now: int, *, detail: bool) -> None:
        """A joint no longer knows which homings it has carried out: it must not begin this anew."""
        if link is self.current:
            self.fail(f"{link.name} {why}: home it again", now, detail=detail)

    def faulted(self, link: JointLink, fault: str) -> None:
        """A joint told of a fault, which may be cleared before a status tells of it."""
        if link in self._known_faults and fault not in self._known_faults[link]:
            self._faulted.add(link)

    def fail(self, message: str, now: int, *, detail: bool = False) -> None:
        """End without success; nothing is permitted any more.

        A detail where what ended it has a line of its own.
        """
        if self.state is HomingState.RUNNING:
            if self._held_us is not None and now - self._held_us < JOG_RENEWAL_US:
                self._held_us = now
            self.state = HomingState.FAILED
            self.message = message
            self._outbox.at_once = True
            self._outbox.note(now, Level.ATTENTION, "homing-failed", message, detail=detail)

    # ---- a control that is held -------------------------------------------------------------

    @property
    def held(self) -> bool:
        """Whether it moves only while a control is held."""
        return self._held_us is not None

    def renewed(self, link: JointLink, now: int) -> bool:
        """Whether a control of this joint that is held is this homing's, which goes on by it.

        Held on after the joint is homed, it does nothing more. Raises Refused where the homing
        ended otherwise: then it must be let go before anything homes again.
        """
        if self._held_us is None or (link not in self.links and self._goes_well):
            return False
        if self.state is HomingState.RUNNING:
            self._held_us = now
            return True
        if now - self._held_us >= LET_GO_US:
            return False  # it was let go since
        self._held_us = now
        if self.state is HomingState.DONE:
            return True
        raise Refused(
            RefusalCode.JOG_ENDED, f"the homing ended ({self.message}); let go of the control first"
        )

    def let_go(self, now: int) -> None:
        """Its control is let go: the joint comes to rest, unless it is homed."""
        if self._held_us is not None:
            self._held_us = now - LET_GO_US
            self._outbox.at_once = True

    @property
    def _goes_well(self) -> bool:
        return self.state is not HomingState.FAILED

    def _is_let_go(self, link: JointLink, now: int) -> bool:
        """Whether nobody holds its control, so that it may not go on; one that is homed rests."""
        if self._held_us is None or now - self._held_us < JOG_RENEWAL_US:
            return False
        status = link.status
        return (
            status is None
            or status.homing_number != self._asked
            or not (status.state is JointState.READY and status.homed)
        )

    def step(self, now: int) -> None:
        """Go on to the next joint when one is done."""
        link = self.current
        if link is None:
            return
        status = link.status
        elapsed = now - self._since_us
        if self._is_let_go(link, now):
            self.let_go(now)  # where nothing was heard of it, too
            self.fail(f"{link.name}: its control was let go before it was homed", now)
        elif not link.in_session or not link.heard(now):
            self.fail(not_heard(link), now)
        elif link.connection.conflict:
            self.fail(f"{link.name}: {link.connection.conflict}", now)
        elif vague := too_vague(link, now):
            self.fail(vague, now)
        elif status is not None and status.homing_number == self._asked:
            if status.faults:
                self.fail(f"{link.name}: {self._why or 'it has a fault'}", now)
            elif status.state is JointState.READY and status.homed:
                self._await_edges(link, now)
            elif not status.homed and (too_far := self._too_far(link)):
                self.fail(too_far, now)
            elif status.state is JointState.UNHOMED:
                self._again(link, now)
            elif elapsed > self._patience_us(link):
                self.fail(f"{link.name} is still searching after {elapsed / 1e6:.0f} s", now)
        elif link in self._faulted or link.faults - self._known_faults[link]:
            self.fail(f"{link.name}: it has a fault", now)
        elif elapsed > BEGIN_PATIENCE_US:
            state = status.state.word if status else "unknown"
            why = f"it is {state}" if link.clock.locked else link.clock.reason
            self.fail(f"{link.name} does not begin to home: {why}", now)

    def snapshot(self) -> HomingSnapshot:
        """State and results, joints from base to tool."""
        current = self.current
        base_to_tool = [link.name for link in sorted(self.links, key=lambda link: link.index)]
        return HomingSnapshot(
            number=self.number,
            state=self.state,
            message=self.message,
            current=current.name if current else None,
            asked=tuple(base_to_tool),
            joints={name: self.results[name] for name in base_to_tool if name in self.results},
            held=self.held,
        )

    def _await_edges(self, link: JointLink, now: int) -> None:
        """The joint is homed; its edges come on the stream, which may be slower than its status."""
        if self._homed_us is None:
            self._homed_us = now
        has_told = link.name in self.results
        if has_told or now - self._homed_us > EDGES_PATIENCE_US:
            if not has_told and link.home is not None:
                link.home = link.home.lost()
            self._next(now)

    def _next(self, now: int) -> None:
        self._at += 1
        self._attempts = 0
        self._begun_at = None
        self._homed_us = None
        self._turn_us = now
        self._outbox.at_once = True
        if self._at >= len(self.links):
            self._at = len(self.links) - 1
            self.state = HomingState.DONE
            names = ", ".join(sorted(self.results)) or "no joint"
            wandered = [link.name for link in self.links if link.wandered]
            but = f"; home of {listed(wandered)} wandered" if wandered else ""
            self._outbox.note(
                now,
                Level.ATTENTION if wandered else Level.INFO,
                "homing-done",
                f"homing {self.number}: homed {names}{but}",
            )
            return
        self._ask(self.links[self._at], now)

    def _again(self, link: JointLink, now: int) -> None:
        """On a poor link a permission may run out in mid-search; the joint has come nearer."""
        if now - self._turn_us > CUT_SHORT_MARGIN * self._patience_us(link):
            self.fail(f"{link.name}: {self._why} ({self._attempts} attempts)", now)
        else:
            self._ask(link, now)

    def _too_far(self, link: JointLink) -> str:
        """Why a joint may search no further, empty while it may.

        It counts the travel of each attempt for itself; where links cut attempts short again and
        again, their sum must not take it further than one may.
        """
        joint, status = link.joint, link.status
        if self._begun_at is None or status is None:
            return ""
        turned_deg = abs((status.position - self._begun_at) / joint.counts_per_degree)
        most_deg = joint.homing.travel_deg + joint.homing.backoff_deg
        if turned_deg <= most_deg:
            return ""
        return (
            f"{link.name}: it was turned by {turned_deg:.0f}° in {self._attempts} attempts without "
            f"being homed, its travel is {joint.homing.travel_deg:g}°"
        )

    def _ask(self, link: JointLink, now: int) -> None:
        if self._begun_at is None and link.status is not None:
            self._begun_at = link.status.position
        self._since_us = now
        self._attempts += 1
        self._why = "it gave up homing"
        self._asked = self._numbers[link.name] = link.orders.next_homing()
        self._outbox.at_once = True

    def _patience_us(self, link: JointLink) -> int:
        homing = link.joint.homing
        slow_s = 4 * homing.backoff_deg / homing.slow_deg_s
        return int((SEARCH_MARGIN * homing.travel_deg / homing.fast_deg_s + slow_s) * 1e6)
