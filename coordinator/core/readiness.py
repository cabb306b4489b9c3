"""What must be so before a command moves anything, and what it clears then.

Every check raises `Refused` with a sentence that names the joint and what is wrong with it.
"""

from collections.abc import Sequence
from functools import partial
from typing import Final

from coordinator.codes.level import Level
from coordinator.codes.refusal import RefusalCode
from coordinator.core.events import Refused
from coordinator.core.link.link import JointLink, rests_after_us
from coordinator.core.link.words import offline, trouble
from coordinator.core.outbox import Outbox, ignore_reply
from coordinator.core.skew import too_vague
from coordinator.health.supply import is_gone
from protocol.messages import Clear, Discard, Reject
from protocol.ramp import Ramp
from protocol.states import JointState

S = JointState
_NOT_CONFIGURED_YET: Final = (
    "is not configured yet: it is just being told the arm file's figures, which passes by itself "
    "in a moment; then try again"
)


def require_link(link: JointLink, now: int) -> None:
    """The joint is connected, is the only one of its id, and knows its figures."""
    connection = link.connection
    require_alone(link)
    if not link.up:
        raise Refused(RefusalCode.JOINT_OFFLINE, offline(link, now))
    if not connection.configured:
        why = connection.configuration_message or _NOT_CONFIGURED_YET
        raise Refused(RefusalCode.JOINT_NOT_CONFIGURED, f"{link.name} {why}")


def require_alone(link: JointLink) -> None:
    """The joint is the only one that proves its id."""
    if link.connection.conflict:
        raise Refused(RefusalCode.JOINT_CONFLICT, f"{link.name}: {link.connection.conflict}")


def require_ready(link: JointLink, now: int) -> None:
    """The joint answers and is at rest."""
    require_link(link, now)
    if link.status is None or not link.heard(now):
        raise Refused(RefusalCode.JOINT_OFFLINE, offline(link, now))
    if not link.at_rest:
        raise Refused(RefusalCode.NOT_AT_REST, f"{link.name} is {link.status.state.word}")


def require_playable(link: JointLink, now: int) -> None:
    """The joint can play a program."""
    require_ready(link, now)
    assert link.status is not None
    require_homed(link)
    if link.status.faults:
        what = trouble(link) if is_gone(link.status) else f"{link.name} has a fault"
        raise Refused(RefusalCode.FAULTED, f"{what}; home it, which clears it once it is gone")
    if not link.clock.locked and link.quality.measured:
        raise Refused(RefusalCode.CLOCK_UNLOCKED, f"{link.name}: {link.clock.reason}")
    require_sensor(link)


def require_homed(link: JointLink) -> None:
    """It is known where the joint stands."""
    if link.doubt:
        raise Refused(RefusalCode.NOT_HOMED, f"{link.name}: {link.doubt}; home it first")
    if link.status is None or not link.status.homed:
        raise Refused(RefusalCode.NOT_HOMED, f"{link.name} is not homed; home it first")
    if link.wandered:
        raise Refused(
            RefusalCode.HOME_WANDERED,
            f"{link.name}: {link.wandered}; look at it, then accept it on the page or by "
            f"`unisono home --accept {link.name}`",
        )


def require_sensor(link: JointLink) -> None:
    """The joint's temperature is known, so that it would be seen to get too hot."""
    if link.health.sensor.trouble:
        raise Refused(RefusalCode.TEMPERATURE_IMPLAUSIBLE, link.health.sensor.trouble)


def require_on_path(link: JointLink, now: int) -> None:
    """The joint can go on with the program that it is in."""
    require_alone(link)
    if not link.up or not link.heard(now):
        raise Refused(RefusalCode.JOINT_OFFLINE, offline(link, now))
    if not link.in_state(S.READY, S.PREPARED, S.ARMED, S.HELD, S.FINISHED):
        state = link.status.state.word if link.status else "unknown"
        raise Refused(RefusalCode.NOT_HELD, f"{link.name} is {state}, not at rest on the path")
    require_clock(link)
    require_sensor(link)


def require_clock(link: JointLink) -> None:
    """The joint's clock is trusted."""
    if not link.clock.locked:
        raise Refused(RefusalCode.CLOCK_UNLOCKED, f"{link.name}: {link.clock.reason}")


def require_expiry(link: JointLink, now: int) -> None:
    """A permission to move surely ends in time by the joint's clock, where that is trusted."""
    if vague := too_vague(link, now):
        raise Refused(RefusalCode.CLOCK_UNCERTAIN, vague)


def require_sound(link: JointLink) -> None:
    """The joint has no fault: what would clear it takes a moment, in which it does not move."""
    if link.status is not None and link.status.faults:
        raise Refused(
            RefusalCode.FAULTED,
            f"{trouble(link)}; to home it, or to jog it while a control is held, clears the fault "
            "once its cause is gone",
        )


def require_jog(link: JointLink, velocity_deg_s: float) -> None:
    """The joint can be jogged as fast as that."""
    limit = link.joint.velocity_deg_s
    if not abs(velocity_deg_s) <= limit:
        raise Refused(
            RefusalCode.JOG_SPEED,
            f"{link.name}: {velocity_deg_s:g} °/s, its limit is {limit:g} °/s",
        )


def require_stopped(links: Sequence[JointLink], ramp: Ramp, now: int) -> None:
    """No joint may still move on in spite of a stop."""
    for link in links:
        # A joint that heard nothing of the stop may move on for a while, stream or no stream.
        may_move = link.up or now - link.orders.stop_us <= rests_after_us(ramp)
        if link.orders.stop_wanted and may_move:
            raise Refused(RefusalCode.STOPPING, f"{link.name} has not confirmed the stop yet")


def make_ready(
    links: Sequence[JointLink], outbox: Outbox, now: int, *, loads: bool = False
) -> None:
    """A new command is what switches drivers on and clears latched stops and old faults.

    Only in the joints that it concerns. It also discards what an earlier run may have left
    in a joint that was away at its end. Before points are to be loaded everybody is told to, as
    some may be on their way still; else whoever has some: the drive that lets a joint home or jog
    is quicker than the stream, and while it moves it rejects a *discard*.
    """
    for link in links:
        status = link.status
        link.orders.make_ready(status)
        if link.up and (loads or (status is not None and status.trajectory)):
            outbox.request(link, Discard(), ignore_reply, now)
        clear(link, outbox, now)


def clear(link: JointLink, outbox: Outbox, now: int) -> None:
    """Ask a joint to clear, again at each turn while it has not heard the stop's end yet."""
    if not link.up or not link.orders.clear_due:
        return
    link.orders.clear_begun()
    outbox.request(link, Clear(), partial(_cleared, link, outbox), now)


def _cleared(link: JointLink, outbox: Outbox, reject: Reject | None, now: int) -> None:
    link.orders.clear_answered(reject)
    if reject is not None and reject.code not in ("stop-still-asked", "stream-closed"):
        outbox.note(
            now, Level.ATTENTION, "clear-refused", f"{link.name}: {reject.message}", link.name
        )
