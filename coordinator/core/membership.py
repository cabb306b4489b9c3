"""Which joints of the arm are there, and whether they can be talked to.

Joints come and go: they are announced, connected, lost, found at another address, restarted. What
is only said on the network is tried, and what is proved counts (`addresses`): nothing that a
stranger says takes away a link that works. What becomes of a run is the run's business; a jog
ends here.
"""

from functools import partial
from typing import Final

from coordinator.codes.level import Level
from coordinator.config.arm import Arm
from coordinator.core import events as ev
from coordinator.core.configure import configuration_of, idle_current
from coordinator.core.jogging import Jog
from coordinator.core.link.connection import LinkState
from coordinator.core.link.link import JointLink
from coordinator.core.outbox import Outbox, ignore_reply
from coordinator.core.strangers import Strangers
from protocol import messages
from protocol.configuration import Configuration
from protocol.ramp import Ramp

MOVED_US: Final = 250_000
"""Unheard for so long, six turns, a joint that proves itself elsewhere is used there."""
NOWHERE_US: Final = 1_000_000
"""Until it is looked again whether there is a address to connect to: there is none for twins."""
SEEK_FIRST_US: Final = 1_000_000
SEEK_LAST_US: Final = 10_000_000
"""Between two questions for joints while some are missing, doubled from first to last: multicasts
get lost on Wi-Fi without being repeated."""
NOBODY_US: Final = 15_000_000
"""After so long without any announcement, multicasts may not pass this network at all."""
REFUSALS: Final = ("key-wrong", "id-wrong", "protocol-version")
"""Codes of whoever answers where a joint was said to be, and may be anybody."""
PROVED_REFUSALS: Final = ("foreign", "busy")
"""Codes of the joint itself, after its proof."""
UNHOME_AGAIN_US: Final = 1_000_000
"""A joint that refused, or whose answer was lost, is asked again after this."""
LIARS_TOLD: Final = 8
"""Addresses of one joint without its key of which people are told."""


class Membership:
    """The links to all joints of one arm, and what else was announced."""

    def __init__(
        self,
        arm: Arm,
        links: list[JointLink],
        ramp: Ramp,
        jog: Jog,
        outbox: Outbox,
        session: int,
    ) -> None:
        self.session = session
        self.strangers = Strangers(arm.path.name, outbox)
        self._links = links
        self._by_id = {link.joint.id: link for link in links}
        self._arm, self._ramp = arm, ramp
        self._jog = jog
        self._outbox = outbox
        self._seek_us: int | None = None
        """When to ask for joints next; None before the first look."""
        self._seek_after_us = SEEK_FIRST_US
        self._nobody_us: int | None = None
        """When people are told that nobody announces anything; None once somebody did."""
        self._is_alone = True
        """Whether nothing at all was announced yet."""
        self._liars: dict[str, set[ev.StreamAddress]] = {link.joint.id: set() for link in links}
        self._unhome_us = {link.name: 0 for link in links}
        """From when a joint that is astray may be asked, or asked again, to be homed no more."""

    # ---- what is said -------------------------------------------------------------------

    def found(self, found: ev.Found, now: int) -> None:
        """A joint announced itself, or its address changed."""
        self._is_alone = False
        link = self._by_id.get(found.announcement.id)
        if link is None:
            self.strangers.found(found, now)
            return
        self.strangers.gone(found.instance)
        link.connection.announced(found.address, found.instance, now)

    def gone(self, instance: str) -> None:
        """Somebody said goodbye for a name; anyone can."""
        self.strangers.gone(instance)
        for link in self._links:
            link.connection.goodbye(instance)

    # ---- what is proved -----------------------------------------------------------------

    def knocked(self, event: ev.Knocked, now: int) -> None:
        """A joint proved its id somewhere else than where it is connected."""
        link = self._by_id[event.joint_id]
        connection, address = link.connection, event.address
        connection.addresses.proved(address, event.boot, event.begun_us, now)
        is_tried = link.up or connection.connecting_to == address
        if not is_tried and not connection.addresses.twins(now):
            self._connect(link, address, now)

    def knock_failed(self, event: ev.KnockFailed, now: int) -> None:
        """Nobody with the arm's key answered where a joint was said to be."""
        link = self._by_id[event.joint_id]
        link.connection.addresses.failed(event.address)
        liars = self._liars[event.joint_id]
        is_liar = event.code in ("key-wrong", "id-wrong")
        if is_liar and event.address not in liars and len(liars) < LIARS_TOLD:
            liars.add(event.address)
            message = f"{link.name}: {event.message}, at {event.address}; that is not used"
            self._outbox.note(now, Level.ATTENTION, "address-wrong", message, link.name)

    def link_up(
        self,
        link: JointLink,
        welcome: messages.Welcome,
        now: int,
        ended: str = "",
        expected: str = "",
    ) -> bool:
        """Take a finished handshake; whether the joint has booted since the last one.

        `ended`: what ends if it has, a clause. `expected`: the sentence for one that was to.
        """
        rebooted = link.linked(welcome, now)
        if rebooted:
            self._jog.end_of(link, now)
            level = Level.INFO if expected else Level.ATTENTION
            what = expected or f"{link.name} restarted"
            self._outbox.note(
                now, level, "joint-restarted",
                f"{what} and must be homed again{ended and f'; {ended}'}", link.name,
                detail=bool(expected),
            )  # fmt: skip
        return rebooted

    def configure(self, link: JointLink, now: int) -> None:
        """Let a joint that has just been linked know the arm file's figures, if it does not."""
        request = messages.Configure(configuration=self._figures(link))
        if link.welcome is not None and link.welcome.configuration == request.digest():
            link.connection.configuration_taken()
            return

        self._outbox.request(link, request, partial(self._configured, link), now)

    def _figures(self, link: JointLink) -> Configuration:
        idle = idle_current(link.joint, self._arm) if link.reduces_current else None
        return configuration_of(link.joint, self._ramp, self._arm.tool_outputs, idle)

    def _unhome(self, link: JointLink, now: int) -> None:
        """Have a joint that is astray say so itself, so that it outlives this coordinator: a joint
        whose `home` changes is homed no more (protocol, configuration). Then it gets its own again,
        at the latest with its next stream: it has another digest until then.
        """
        if not (link.doubt and link.up and link.rests(now)) or now < self._unhome_us[link.name]:
            return
        self._unhome_us[link.name] = now + UNHOME_AGAIN_US
        figures = self._figures(link)
        homing = figures.homing.model_copy(update={"home": figures.homing.home + 1})
        beside = messages.Configure(configuration=figures.model_copy(update={"homing": homing}))
        self._outbox.request(link, beside, ignore_reply, now)
        own = messages.Configure(configuration=figures)
        self._outbox.request(link, own, partial(self._configured, link), now)

    def _configured(self, link: JointLink, reject: messages.Reject | None, now: int) -> None:
        if reject is None:
            link.connection.configuration_taken()
        elif reject.code == "stream-closed":
            link.connection.configuration_unanswered()
        else:
            link.connection.configuration_refused(reject.message)
            message = f"{link.name} {link.connection.configuration_message}"
            self._outbox.note(now, Level.DANGER, "configuration", message, link.name)

    def link_down(self, link: JointLink, code: str, message: str, now: int) -> None:
        """A stream ended or never came about."""
        # Of a joint that is in the session, only what it says itself ends that: it may move, and
        # whoever answered here instead may not even be it.
        refused = code in PROVED_REFUSALS or (code in REFUSALS and link.welcome is None)
        state = LinkState.REFUSED if refused else LinkState.OFFLINE
        if link.connection.is_news(code):
            self._tell_of_end(link, code, message, now)
        self._jog.end_of(link, now)
        if link.up:
            self._seek_after_us, self._seek_us = SEEK_FIRST_US, now
        link.dropped(state, code, message, now)

    def _tell_of_end(self, link: JointLink, code: str, message: str, now: int) -> None:
        """Of a joint that was heard once it is a detail: where that is lost, a warning tells it.

        Not what is a danger: no warning says that somebody has a wrong key.
        """
        level = Level.DANGER if code in ("key-wrong", "id-wrong") else Level.ATTENTION
        whom = f"{link.name}'s stream" if link.heard(now) else f"{link.name} is offline"
        self._outbox.note(
            now, level, f"link-{code}", f"{whom}: {message}", link.name,
            detail=link.was_heard and level is not Level.DANGER,
        )  # fmt: skip

    def begin_session(self, session: int, now: int) -> None:
        """A new session: every joint is connected anew."""
        self.session = session
        for link in self._links:
            self._outbox.actions.append(ev.Disconnect(link.joint.id))
            link.begin_session(now)

    # ---- what is done -------------------------------------------------------------------

    def step(self, now: int) -> None:
        """Connect to the joints whose time it is, knock where they may be, ask for missing ones."""
        for link in self._links:
            self._look_at(link, now)
            self._unhome(link, now)
        self._seek(now)

    def next_deadline(self) -> int | None:
        """When to connect next."""
        due_us: int | None = None
        for link in self._links:
            retry_us = link.connection.retry_us
            if retry_us is not None and (due_us is None or retry_us < due_us):
                due_us = retry_us
        return due_us

    def _look_at(self, link: JointLink, now: int) -> None:
        connection, addresses = link.connection, link.connection.addresses
        self._watch_twins(link, now)
        lost = not (link.up and link.heard(now, MOVED_US))
        if connection.retry_us is not None and now >= connection.retry_us:
            address = addresses.to_connect_to(now)
            if address is not None:
                self._connect(link, address, now)
            else:
                connection.retry_at(now + NOWHERE_US if len(addresses) else None)
        elif link.up and lost and link.welcome is not None:
            # Unheard here: is it somewhere else? Another boot may be a second joint, so that takes
            # as long as it takes to be lost.
            is_lost = not link.heard(now)
            boot = None if is_lost else link.welcome.boot
            address = addresses.elsewhere(connection.address, boot, now)
            if address is not None and not connection.conflict:
                self._connect(link, address, now)
        at = connection.address if connection.connecting_to is None else connection.connecting_to
        knock_at = addresses.to_knock_at(now, at, lost=lost)
        if knock_at is not None:
            addresses.knock(knock_at, now)
            self._outbox.actions.append(ev.Knock(link.joint.id, knock_at, self.session, now))

    def _watch_twins(self, link: JointLink, now: int) -> None:
        """Name joints that prove the same id; neither moves until one is gone."""
        twins = link.connection.addresses.twins(now)
        if twins and not link.connection.conflict:
            self._jog.end_of(link, now)
            at = " and ".join(str(address) for address in twins)
            conflict = f"{len(twins)} joints prove id {link.joint.id}, at {at}; none is moved"
            link.connection.twins_found(conflict)
            message = f"{link.name}: {conflict}"
            self._outbox.note(now, Level.DANGER, "joint-conflict", message, link.name)
        elif link.connection.conflict and not twins:
            link.connection.twins_gone()
            message = f"{link.name}: only one joint proves id {link.joint.id} now"
            self._outbox.note(now, Level.INFO, "joint-conflict-over", message, link.name)

    def _connect(self, link: JointLink, address: ev.StreamAddress, now: int) -> None:
        link.connecting(address, now)
        self._outbox.actions.append(ev.Connect(link.joint.id, address, self.session))

    def _seek(self, now: int) -> None:
        if self._seek_us is None or self._nobody_us is None:
            self._seek_us, self._nobody_us = now + SEEK_FIRST_US, now + NOBODY_US
        if all(link.up for link in self._links):
            return
        if now >= self._seek_us:
            self._outbox.actions.append(ev.Seek())
            self._seek_us = now + self._seek_after_us
            self._seek_after_us = min(2 * self._seek_after_us, SEEK_LAST_US)
        if self._is_alone and now >= self._nobody_us:
            self._is_alone = False
            self._outbox.note(
                now, Level.ATTENTION, "nobody-announced",
                f"no joint has announced itself for {NOBODY_US / 1e6:.0f} s: none is switched on, "
                "or this network does not pass multicast, as guest networks and some access points "
                "do not; then give each joint's address in the arm file, as in "
                'address = "192.168.4.21:8000"',
            )  # fmt: skip
