"""Which joints of the arm are there, and whether they can be talked to.

Joints come and go: they are announced, connected, lost, found twice, restarted. What that means
for a run is the run's business; a jog ends here.
"""

from coordinator.arm import Arm
from coordinator.core import events as ev
from coordinator.core.configure import configuration_of
from coordinator.core.jogging import Jog
from coordinator.core.link import JointLink, LinkState
from coordinator.core.outbox import Outbox
from protocol import messages
from protocol.ramp import Ramp

TWIN = " at "
"""Parts the address from the name of a second joint that took the same DNS-SD name."""
UNKNOWN_KEPT = 64
"""Anyone on the network can announce joints; more of them are not remembered."""


class Membership:
    """The links to all joints of one arm, and what else was announced."""

    def __init__(
        self, arm: Arm, links: list[JointLink], ramp: Ramp, jog: Jog, outbox: Outbox
    ) -> None:
        self.unknown: dict[str, ev.Found] = {}
        self._strangers: set[str] = set()
        """Ids of joints of others that people were told of: they may come and go."""
        """Announced joints that are not in the arm file, by DNS-SD instance."""
        self._is_crowded = False
        self._arm_file = arm.path.name
        self._links = links
        self._by_id = {link.joint.id: link for link in links}
        self._configurations = {link.joint.id: configuration_of(link.joint, ramp) for link in links}
        self._jog = jog
        self._outbox = outbox

    def found(self, found: ev.Found, now: int) -> None:
        """A joint announced itself, or its address changed."""
        link = self._by_id.get(found.announcement.id)
        for other in self._links:
            if other is not link and found.instance in other.instances:
                self.gone(found.instance, now)
        if link is None:
            if found.instance not in self.unknown:
                if len(self.unknown) >= UNKNOWN_KEPT:
                    self._tell_of_crowd(now)
                    return
                self._tell_of_stranger(found, now)
            self.unknown[found.instance] = found
            return
        self.unknown.pop(found.instance, None)
        if link.is_twin(found, now):
            link.instances[f"{found.instance}{TWIN}{found.host}:{found.stream_port}"] = found
            changed = True
        else:
            changed = link.instances.get(found.instance) != found
            link.instances[found.instance] = found
        if len(link.instances) > 1:
            self._conflict(link, now)
        elif changed and link.state is not LinkState.UP:
            link.retry_us = now

    def gone(self, instance: str, now: int) -> None:
        """A joint said goodbye."""
        self.unknown.pop(instance, None)
        for link in self._links:
            twins = [key for key in link.instances if key.startswith(instance + TWIN)]
            for key in twins:
                del link.instances[key]
            # Of twins under one name nobody can say which one left: the first is tried again.
            if not twins and link.instances.pop(instance, None) is None:
                continue
            if link.state is LinkState.CONFLICT and len(link.instances) == 1:
                link.dropped(LinkState.ABSENT, "the second joint of that id is gone", now)
                link.retry_us = now
            elif not link.instances and link.state is not LinkState.UP:
                link.state, link.message = LinkState.ABSENT, "it said goodbye"
                link.retry_us = None

    def silent(self, instance: str, now: int) -> None:
        """What was announced is not answered: a stranger, or a second of one id, is not there.

        A joint of the arm may come back as it was, and is tried again and again.
        """
        is_double = any(
            link.state is LinkState.CONFLICT and instance in link.instances for link in self._links
        )
        if instance in self.unknown or is_double:
            self.gone(instance, now)

    def link_up(self, link: JointLink, welcome: messages.Welcome, now: int) -> bool | None:
        """Take a finished handshake; whether the joint has booted, None when it came too late."""
        if link.state is LinkState.CONFLICT:
            return None  # it was on its way when the second one was found
        rebooted = link.linked(welcome)
        if rebooted:
            self._jog.end_of(link, now)
            self._outbox.note(
                now, "attention", "joint-restarted",
                f"{link.name} restarted and must be homed again", link.name,
            )  # fmt: skip
        return rebooted

    def configure(self, link: JointLink, now: int) -> None:
        """Let a joint that has just been linked know the arm file's figures, if it does not."""
        configuration = self._configurations[link.joint.id]
        if link.welcome is not None and link.welcome.configuration == configuration.digest():
            link.configured = True
            return

        def answer(reject: messages.Reject | None, at: int) -> None:
            link.configured = reject is None
            if reject is not None and reject.code != "stream-closed":
                link.message = f"does not take its configuration: {reject.message}"
                self._outbox.note(
                    at, "danger", "configuration", f"{link.name} {link.message}", link.name
                )

        self._outbox.request(link, messages.Configure(configuration=configuration), answer, now)

    def link_down(self, link: JointLink, code: str, message: str, now: int) -> None:
        """A stream ended or never came about."""
        if link.state is LinkState.CONFLICT:
            return
        refused = code in ("key-wrong", "id-wrong", "foreign", "protocol-version", "busy")
        state = LinkState.REFUSED if refused else LinkState.ABSENT
        if link.is_news(code):
            level = "danger" if code in ("key-wrong", "id-wrong") else "attention"
            self._outbox.note(now, level, f"link-{code}", f"{link.name}: {message}", link.name)
        self._jog.end_of(link, now)
        link.dropped(state, message, now, code)

    def begin_session(self, now: int) -> None:
        """A new session: every joint is connected anew."""
        for link in self._links:
            self._outbox.actions.append(ev.Disconnect(link.joint.id))
            link.begin_session()
            if link.state is not LinkState.CONFLICT:
                link.dropped(LinkState.ABSENT, "connecting again for a new session", now)
                link.retry_us = now

    def connect(self, session: int, now: int) -> None:
        """Connect to the joints whose time it is."""
        for link in self._links:
            if link.connect_us is not None and now >= link.connect_us:
                self._connect(link, session)

    def next_deadline(self) -> int | None:
        """When to connect next."""
        due = [link.connect_us for link in self._links if link.connect_us is not None]
        return min(due, default=None)

    def _tell_of_stranger(self, found: ev.Found, now: int) -> None:
        if found.announcement.id in self._strangers or len(self._strangers) >= UNKNOWN_KEPT:
            return
        self._strangers.add(found.announcement.id)
        self._outbox.note(
            now, "attention", "joint-unknown",
            f"{found.instance} announces id {found.announcement.id}, which is not in "
            f"{self._arm_file}; it is left alone",
        )  # fmt: skip

    def _tell_of_crowd(self, now: int) -> None:
        if not self._is_crowded:
            self._is_crowded = True
            self._outbox.note(
                now, "attention", "joints-unknown",
                f"more than {UNKNOWN_KEPT} joints that are not in {self._arm_file} announce "
                "themselves; the others are not listed",
            )  # fmt: skip

    def _conflict(self, link: JointLink, now: int) -> None:
        places = [f"{found.host}:{found.stream_port}" for found in link.instances.values()]
        many, used = ("two", "neither") if len(places) == 2 else (str(len(places)), "none")
        message = (
            f"{many} joints announce id {link.joint.id}, at {' and '.join(places)}; {used} is used"
        )
        if link.state is not LinkState.CONFLICT:
            self._outbox.note(now, "danger", "joint-conflict", f"{link.name}: {message}", link.name)
            self._outbox.actions.append(ev.Disconnect(link.joint.id))
            self._jog.end_of(link, now)
        link.dropped(LinkState.CONFLICT, message, now)
        link.retry_us = None

    def _connect(self, link: JointLink, session: int) -> None:
        link.retry_us = None
        found = next(iter(link.instances.values()))
        if link.state is LinkState.ABSENT:
            link.state = LinkState.CONNECTING
        self._outbox.actions.append(
            ev.Connect(
                link.joint.id,
                found.host,
                found.stream_port,
                found.announcement.path,
                found.announcement.udp_port,
                session,
            )
        )
