"""Whether the joints have what they need before a part is prepared."""

from coordinator.core.link.link import JointLink
from coordinator.core.run.point_feed import PointFeed
from protocol.constants import FIRST_PERMIT_US


def not_loaded(link: JointLink, feed: PointFeed) -> str | None:
    """Why a joint is not ready for *prepare* yet, a clause; None when it is."""
    if not link.quality.measured:
        return f"its link is not measured yet ({link.quality.count} exchanges)"
    status = link.status
    if status is None or not status.energised:
        return "its drivers do not switch on"
    if status.stop:
        return f"stop {status.stop:d} is still latched in it"
    if not feed.loaded(link) or status.trajectory != feed.trajectory:
        return "its points are not planned yet" if feed.waits else "it does not take the points"
    if not link.clock.locked:
        return link.clock.reason
    return None


def too_short(links: list[JointLink], feed: PointFeed, fall_us: int) -> str | None:
    """A sentence when a joint's buffer does not hold enough of this program to begin.

    `fall_us` is the path time that the ramp to rest takes. All joints are loaded.
    """
    need_us = FIRST_PERMIT_US + fall_us
    for link in links:
        status = link.status
        assert status is not None
        if not feed.has_all(status.buffered_us) and status.buffered_us < need_us:
            return (
                f"{link.name} holds {status.next_index} points, which are "
                f"{status.buffered_us / 1e3:.0f} ms of this program; {need_us / 1e3:.0f} ms "
                "are needed to start and to come to rest again"
            )
    return None
