"""What must be so before a command moves anything, and what it lifts then.

Every check raises `Refused` with a sentence that names the joint and what is wrong with it.
"""

from collections.abc import Sequence

from coordinator.core.events import Refused
from coordinator.core.link import JointLink, rests_after_us
from coordinator.core.outbox import Outbox, no_matter
from protocol.messages import Clear, Discard, Reject
from protocol.ramp import Ramp
from protocol.states import JointState

S = JointState


def require_link(link: JointLink) -> None:
    """The joint is connected and knows its figures."""
    if not link.up:
        raise Refused("joint-absent", f"{link.name} is {link.state}: {link.message}")
    if not link.configured:
        raise Refused(
            "joint-not-configured", f"{link.name} is not configured: {link.message or 'wait'}"
        )


def require_ready(link: JointLink, now: int) -> None:
    """The joint answers and is at rest."""
    require_link(link)
    if link.status is None or not link.heard(now):
        raise Refused("joint-silent", f"{link.name} does not answer")
    if not link.at_rest:
        raise Refused("not-at-rest", f"{link.name} is {link.status.state.word}")


def require_playable(link: JointLink, now: int) -> None:
    """The joint can play a program."""
    require_ready(link, now)
    assert link.status is not None
    if not link.status.homed:
        raise Refused("not-homed", f"{link.name} is not homed; home it first")
    if link.status.faults:
        raise Refused(
            "faulted", f"{link.name} has a fault; home it, which clears it once it is gone"
        )
    if not link.clock.locked and link.quality.measured:
        raise Refused("clock-unlocked", f"{link.name}: {link.clock.reason}")
    require_sensor(link)


def require_sensor(link: JointLink) -> None:
    """The joint's temperature is known, so that it would be seen to get too hot."""
    if link.health.sensor.trouble:
        raise Refused("temperature-implausible", link.health.sensor.trouble)


def require_on_path(link: JointLink, now: int) -> None:
    """The joint can go on with the program that it is in."""
    if not link.up or not link.heard(now):
        raise Refused("joint-lost", f"{link.name} is not there: {link.message or 'silent'}")
    if not link.in_state(S.READY, S.PREPARED, S.ARMED, S.HELD, S.FINISHED):
        state = link.status.state.word if link.status else "unknown"
        raise Refused("not-held", f"{link.name} is {state}, not at rest on the path")
    if not link.clock.locked:
        raise Refused("clock-unlocked", f"{link.name}: {link.clock.reason}")
    require_sensor(link)


def require_jog(link: JointLink, velocity_deg_s: float) -> None:
    """The joint can be jogged as fast as that."""
    limit = link.joint.velocity_deg_s
    if not abs(velocity_deg_s) <= limit:
        raise Refused(
            "jog-speed", f"{link.name}: {velocity_deg_s:g} °/s, its limit is {limit:g} °/s"
        )


def require_stopped(links: Sequence[JointLink], ramp: Ramp, now: int) -> None:
    """No joint may still move on in spite of a stop."""
    for link in links:
        # A joint that heard nothing of the stop may move on for a while, stream or no stream.
        may_move = link.up or now - link.stop_us <= rests_after_us(ramp)
        if link.stop_wanted and may_move:
            raise Refused("stopping", f"{link.name} has not confirmed the stop yet")


def make_ready(links: Sequence[JointLink], outbox: Outbox, now: int) -> None:
    """A new command is what switches drivers on and lifts latched stops and old faults.

    Only in the joints that it concerns. It also discards what an earlier run may have left
    in a joint that was away at its end.
    """
    for link in links:
        link.energise = True
        if link.up:
            outbox.request(link, Discard(), no_matter, now)
        status = link.status
        link.clear_wanted = status is not None and bool(status.stop or status.faults)
        clear(link, outbox, now)


def clear(link: JointLink, outbox: Outbox, now: int) -> None:
    """Ask a joint to clear, again at each turn while it has not heard the stop's end yet."""
    if not link.up or link.clearing or not link.clear_wanted:
        return

    def answer(reject: Reject | None, at: int) -> None:
        link.clearing = False
        if reject is not None and reject.code == "stop-still-asked":
            return
        link.clear_wanted = False
        if reject is not None and reject.code != "stream-closed":
            outbox.note(
                at, "attention", "clear-refused", f"{link.name}: {reject.message}", link.name
            )

    link.clearing = True
    outbox.request(link, Clear(), answer, now)
